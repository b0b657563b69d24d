"""From the calibration print to the target: strips, tablets, film, verdicts, and what is known of processes."""
