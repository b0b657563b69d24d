"""Looks the settings over, pure: what is wrong is said in one line that names the setting."""

import ads1115
import as7331
import ltr390

# The drivers: a new one is an import and a line here. Each has GAINS, TIMES and a class with the word for SENSOR.
DRIVERS = (
    (ads1115, ads1115.Ads1115),
    (as7331, as7331.As7331),
    (ltr390, ltr390.Ltr390),
)
PARTS = {part.word: (part, module) for module, part in DRIVERS}


def check(at):
    """Raises ValueError."""
    if at.SENSOR not in PARTS:
        raise ValueError("SENSOR must be one of {}".format(", ".join(sorted(PARTS))))
    _, module = PARTS[at.SENSOR]
    if at.GAIN not in module.GAINS:
        raise ValueError(f"GAIN of {at.SENSOR} must be one of {_list(module.GAINS)}")
    if at.INTEGRATION_MS not in module.TIMES:
        raise ValueError(f"INTEGRATION_MS of {at.SENSOR} must be one of {_list(sorted(module.TIMES))}")
    if not 0.1 <= at.RATE_HZ <= 10:
        raise ValueError("RATE_HZ must be 0.1 to 10")
    if not 1 <= at.LONGEST_WAIT_S <= 300:
        raise ValueError("LONGEST_WAIT_S must be 1 to 300")
    if not at.ZERO >= 0:
        raise ValueError("ZERO must not be negative")
    for name in ("PREFIX", "NAME"):
        word = getattr(at, name)
        bad = "+# " if name == "PREFIX" else "+#/ *,"
        if not word or len(word) > 32 or any(c in bad or not " " < c < "\x7f" for c in word):
            raise ValueError(f"{name} must be 1 to 32 plain letters, with no blank and none of {bad.replace(' ', '')}")
    if not at.WIFI_NAME or not at.BROKER_HOST:
        raise ValueError("WIFI_NAME and BROKER_HOST must be filled in")


def make_part(at, bus):
    """The sensor that the settings name."""
    return PARTS[at.SENSOR][0](bus, at.GAIN, at.INTEGRATION_MS)


def _list(numbers):
    return ", ".join(str(n) for n in numbers)
