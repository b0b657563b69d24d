"""Makes the drawings in this folder: `python firmware_notes/wiring/draw.py`. Standard library alone; invented here.

One unit is a pixel; parts are boxes with named pins, wires run along the grid. Black on white, so that they print.
"""

# ruff: noqa: E501 - a line of a drawing is as long as its words

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

HERE = Path(__file__).parent
FONT = 'font-family="sans-serif" fill="#000"'


class Drawing:
    """Collects the elements of one SVG. Sizes in pixels."""

    def __init__(self, width: int, height: int, title: str, told: str) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">',
            f"<title>{escape(title)}</title>", f"<desc>{escape(told)}</desc>",
            f'<rect width="{width}" height="{height}" fill="#fff"/>',
        ]  # fmt: skip
        self.text(24, 36, title, 20, "bold")

    def text(self, x: float, y: float, words: str, size: int = 14, weight: str = "normal", anchor: str = "start") -> None:
        self._parts.append(
            f'<text x="{x:g}" y="{y:g}" {FONT} font-size="{size}" font-weight="{weight}" text-anchor="{anchor}">'
            f"{escape(words)}</text>"
        )

    def lines(self, x: float, y: float, words: list[str], size: int = 13) -> None:
        for i, line in enumerate(words):
            self.text(x, y + i * (size + 5), line, size)

    def box(self, x: float, y: float, width: float, height: float, words: str = "", fill: str = "#fff") -> None:
        self._parts.append(
            f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{fill}" stroke="#000" '
            f'stroke-width="2"/>'
        )
        if words:
            self.text(x + width / 2, y + 22, words, 15, "bold", "middle")

    def wire(self, *points: tuple[float, float], dashed: bool = False, width: float = 2) -> None:
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        dash = ' stroke-dasharray="6 5"' if dashed else ""
        self._parts.append(f'<polyline points="{path}" fill="none" stroke="#000" stroke-width="{width:g}"{dash}/>')

    def joint(self, x: float, y: float) -> None:
        self._parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="#000"/>')

    def pin(self, x: float, y: float, name: str, side: str) -> tuple[float, float]:
        """A pin at a box's edge; its name stands inside. Returns where a wire begins."""
        inward = {"left": 8, "right": -8}[side]
        self._parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="#fff" stroke="#000" stroke-width="2"/>')
        self.text(x + inward, y + 5, name, 14, anchor="start" if side == "left" else "end")
        return x, y

    def ground(self, x: float, y: float) -> None:
        self.wire((x, y), (x, y + 12))
        for i, half in enumerate((14, 9, 4)):
            self.wire((x - half, y + 12 + 5 * i), (x + half, y + 12 + 5 * i))

    def resistor(self, x: float, y: float, value: str, upright: bool = False) -> None:
        """Centred; 44 long."""
        if upright:
            self.box(x - 7, y - 22, 14, 44)
            self.text(x + 13, y + 5, value, 13)
        else:
            self.box(x - 22, y - 7, 44, 14)
            self.text(x, y - 13, value, 13, anchor="middle")

    def capacitor(self, x: float, y: float, value: str) -> None:
        """Upright, centred; 40 high with its legs."""
        self.wire((x, y - 20), (x, y - 4))
        self.wire((x - 13, y - 4), (x + 13, y - 4), width=3)
        self.wire((x - 13, y + 4), (x + 13, y + 4), width=3)
        self.wire((x, y + 4), (x, y + 20))
        self.text(x + 18, y + 5, value, 13)

    def button(self, x: float, y: float) -> None:
        """Upright, centred; 60 high."""
        self.wire((x, y - 30), (x, y - 12))
        self.wire((x, y + 12), (x, y + 30))
        self.wire((x - 3, y + 12), (x - 14, y - 12))
        self.wire((x - 22, y), (x - 9, y), width=3)
        self.joint(x, y - 12)
        self.joint(x, y + 12)

    def button_stage(self, begin: tuple[float, float], x: float, y: float) -> None:
        """A button from a pin to ground; x, y: where its wire turns down."""
        self.wire(begin, (x, y), (x, y + 30))
        self.button(x, y + 60)
        self.wire((x, y + 90), (x, y + 100))
        self.ground(x, y + 100)
        self.text(x + 22, y + 66, "button: start, hold", 13)

    def buzzer_stage(self, x: float, y: float, supply: str, begin: tuple[float, float]) -> None:
        """An active buzzer through an NPN transistor; x, y: its base."""
        self.wire(begin, (x - 80, begin[1]), (x - 80, y), (x, y))
        self.resistor(x - 48, y, "1 kΩ")
        self.wire((x, y - 18), (x, y + 18), width=4)
        self.wire((x, y - 8), (x + 30, y - 28), (x + 30, y - 48))
        self.wire((x, y + 8), (x + 30, y + 28), (x + 30, y + 40))
        self.wire((x + 17, y + 25), (x + 30, y + 28), (x + 24, y + 16))
        self.ground(x + 30, y + 40)
        self.text(x + 42, y + 6, "NPN (small signal)", 13)
        self.box(x + 4, y - 100, 52, 52)
        self.text(x + 30, y - 68, "~", 22, "bold", "middle")
        self.text(x + 64, y - 82, "active buzzer", 13)
        self.text(x + 64, y - 64, "at most 30 mA; a magnetic", 13)
        self.text(x + 64, y - 46, "one wants a diode across", 13)
        self.wire((x + 30, y - 100), (x + 30, y - 126))
        self.text(x + 30, y - 134, supply, 14, "bold", "middle")

    def save(self, name: str) -> str:
        text = "\n".join([*self._parts, "</svg>", ""])
        (HERE / name).write_text(text, encoding="utf-8")
        return text


def avr() -> Drawing:
    """A photodiode board on an ATmega328P board, over USB."""
    d = Drawing(
        1090, 640, "Photodiode on an AVR board, over USB",
        "Sensor board OUT through 1 kilohm to A0 with 100 nanofarad to ground; button from D2 to ground; buzzer from D9 "
        "through a transistor; USB to the computer.",
    )  # fmt: skip
    d.box(40, 120, 170, 150, "UV sensor board")
    d.text(125, 162, "photodiode, amplifier", 13, anchor="middle")
    vcc, out, gnd = (d.pin(210, 185 + 30 * i, n, "right") for i, n in enumerate(("VCC", "OUT", "GND")))
    d.box(470, 100, 200, 330, "ATmega328P board")
    d.text(570, 142, "5 V, 16 MHz", 13, anchor="middle")
    five, a0, ground = (d.pin(470, y, n, "left") for y, n in ((185, "5V"), (215, "A0"), (330, "GND")))
    d9, d2 = (d.pin(670, y, n, "right") for y, n in ((215, "D9"), (330, "D2")))
    d.wire(vcc, five)
    d.wire(out, a0)
    d.resistor(300, 215, "1 kΩ")
    d.joint(390, 215)
    d.capacitor(390, 255, "100 nF")
    d.wire((390, 235), (390, 215))
    d.wire((390, 275), (390, 330))
    d.joint(390, 330)
    d.wire(gnd, (240, 245), (240, 330), ground)
    d.button_stage(d2, 740, 330)
    d.buzzer_stage(830, 215, "5V", d9)
    d.box(520, 430, 100, 40)
    d.text(570, 456, "USB", 15, "bold", "middle")
    d.wire((570, 470), (570, 520), (300, 520))
    d.box(120, 498, 180, 44)
    d.text(210, 526, "computer, indoors", 14, anchor="middle")
    d.lines(40, 580, [
        "Sensor output below 1 V in full sun: the chip's own 1.1 V reference (as set). Higher: the supply as reference, and never above 5 V.",
        "VCC to 5V, or to 3V3, as the sensor's own sheet says. The cable carries 5 V from the computer, or from a power bank in the",
        "shade. No mains voltage at the frame.",
    ])  # fmt: skip
    return d


def wifi() -> Drawing:
    """An I2C sensor on a Wi-Fi board, over MQTT."""
    d = Drawing(
        1090, 580, "I2C sensor on a Wi-Fi board, over MQTT",
        "Sensor SDA to pin 21 and SCL to pin 22 with 4.7 kilohm pull-ups to 3.3 volt; button from pin 4 to ground; buzzer "
        "from pin 18 through a transistor; 5 volt by USB.",
    )  # fmt: skip
    d.box(40, 130, 170, 190, "I2C UV sensor")
    vcc, sda, scl, gnd = (d.pin(210, 185 + 35 * i, n, "right") for i, n in enumerate(("3V3", "SDA", "SCL", "GND")))
    d.box(470, 100, 200, 320, "Wi-Fi board")
    d.text(570, 142, "3.3 V logic", 13, anchor="middle")
    three, p21, p22, ground = (
        d.pin(470, 185 + 35 * i, n, "left") for i, n in enumerate(("3V3", "21", "22", "GND"))
    )  # fmt: skip
    p18, p4 = (d.pin(670, y, n, "right") for y, n in ((215, "18"), (330, "4")))
    d.wire(vcc, three)
    d.wire(sda, p21)
    d.wire(scl, p22)
    d.wire(gnd, ground)
    for x, y in ((300, 220), (380, 255)):
        d.joint(x, y)
        d.wire((x, y), (x, 100))
        d.resistor(x, 140, "4.7 kΩ", upright=True)
    d.wire((300, 100), (380, 100))
    d.text(340, 90, "3V3 (leave both out where the sensor board has them)", 13, anchor="middle")
    d.button_stage(p4, 740, 330)
    d.buzzer_stage(830, 215, "3V3 or 5V", p18)
    d.box(520, 420, 100, 40)
    d.text(570, 446, "USB 5 V", 15, "bold", "middle")
    d.lines(40, 500, [
        "Pins as in settings.py; other boards have other numbers. An analog sensor does not belong here: the converters of such",
        "boards see nothing below 0.1 V, and some of their pins read nothing while Wi-Fi is on.",
        "Power from a power bank in the shade, or a low-voltage cable. A lithium cell in a box in the sun overheats and can burn.",
    ])  # fmt: skip
    return d


def mount() -> Drawing:
    """Where the sensor sits beside the frame, in section."""
    d = Drawing(
        980, 510, "The sensor beside the frame, in section",
        "The diffuser lies in the plane of the negative, looks the same way, clear of the frame's shadow, and under glass or "
        "not as it was for the calibration print; its cable leaves downward with a drip loop.",
    )  # fmt: skip
    d.box(60, 230, 470, 16, fill="#ddd")
    d.wire((60, 254), (530, 254), width=3)
    d.wire((60, 262), (530, 262), width=5)
    d.box(60, 268, 470, 22, fill="#bbb")
    d.wire((545, 238), (575, 205))
    d.text(580, 205, "glass", 13)
    d.text(70, 345, "from above: glass, negative, coated paper, back board", 13)
    d.box(640, 236, 150, 110)
    d.box(680, 230, 70, 12, fill="#ddd")
    d.wire((715, 230), (715, 190))
    d.text(715, 180, "PTFE disc, flush with the plane", 13, anchor="middle")
    d.box(700, 262, 30, 14, fill="#bbb")
    d.text(715, 296, "sensor", 13, anchor="middle")
    d.text(715, 332, "light, opaque box", 13, anchor="middle")
    d.wire((715, 346), (715, 400), (760, 420), (800, 400), (900, 400))
    d.text(770, 444, "drip loop; seal the gland from below", 13, anchor="middle")
    d.wire((20, 238), (960, 238), dashed=True, width=1)
    d.text(850, 228, "one plane", 13)
    for x in (120, 290, 460, 715):
        d.wire((x - 34, 84), (x, 150))
        d.wire((x - 8, 144), (x, 150), (x - 2, 139))
    d.text(60, 78, "sun", 14, "bold")
    d.lines(40, 470, [
        "Coplanar within a few degrees: with a flat frame, 10° toward the sun at air mass 2 reads 16 % too much (computed).",
        "Same side of the glass for the calibration print and all that follow; clear of shadows of frame, hands and cable.",
    ])  # fmt: skip
    return d


DRAWINGS = {"avr-photodiode.svg": avr, "wifi-i2c.svg": wifi, "mount.svg": mount}


if __name__ == "__main__":
    for name, make in DRAWINGS.items():
        make().save(name)
