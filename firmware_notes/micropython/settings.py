"""The one file to fill in. Copy it to the board with the others; nothing else needs to be changed."""

# Wi-Fi
WIFI_NAME = "your network"
WIFI_PASSWORD = "its password"

# Broker. Give its address as a number: looking a name up stands still on most boards, and counting with it.
BROKER_HOST = "192.168.1.10"
BROKER_PORT = 1883
BROKER_USER = ""  # "" for a broker that asks for none
BROKER_PASSWORD = ""
TLS = False
TLS_CA_FILE = ""  # such as "ca.der"; with "" the broker's certificate is not looked at
LONGEST_WAIT_S = 15  # between two tries to reach the network or the broker

# The node: topics are PREFIX/NAME/reading, answer, online and command
PREFIX = "uv"
NAME = "sill"
RATE_HZ = 1  # lines a second, 0.1 to 10; the daemon may ask for another rate

# The sensor. Gain and integration are part of a target: another setting asks for another calibration print.
# A word or a number that cannot be is answered with those that can; README.md says what suits the sun.
SENSOR = "ltr390"  # such as "ltr390", "as7331", "ads1115"
GAIN = 18
INTEGRATION_MS = 100
ZERO = 0  # counts in the dark, as measured; it is told to the daemon and not subtracted here

# Pins, by the number that the board's port gives them; None for what is not there
SDA = 21
SCL = 22
BUTTON = 4  # to ground when pressed
BUZZER = 18  # one that the board does not pull up while it starts, or the buzzer sounds at each reset
BUZZER_ON = 1  # level at which an active buzzer sounds
BUZZER_HZ = 0  # for a bare piezo: its tone, such as 2700
LAMP = 2
LAMP_ON = 1
