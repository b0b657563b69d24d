"""From calibration prints and judged prints to the dose that is right. Pure."""
