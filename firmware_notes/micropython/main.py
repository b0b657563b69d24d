"""The board's program: counting each 10 ms in one task, the network in another. See README.md beside it."""

import asyncio
import os
import sys
import time

import board
import config
import keep
import machine
import network
import settings
from link import Link
from node import Node
from outbox import Outbox
from sensor import Watch
from uptime import Uptime

TICK_MS = 10
HOLD_MS = 1000


def draw():
    """32 random bits, from the board's own source: a seed that is the same at each start would draw the same boot."""
    return int.from_bytes(os.urandom(4), "big")


def lamp(ms, blind, missing):
    """Whether the lamp is on: steady, all is well; fast, no sensor; one or two flashes, no network or no broker."""
    if blind:
        return ms % 200 < 100
    if not missing:
        return True
    ms %= 2000
    return ms < 100 or (missing == "broker" and 300 <= ms < 400)


class Program:
    """All parts, joined."""

    def __init__(self):
        self.clock = Uptime(time.ticks_ms, time.ticks_diff)
        part = config.make_part(settings, board.bus(settings))
        hold_ms = max(HOLD_MS, 3 * part.interval_ms)
        self.watch = Watch(part, hold_ms)
        self.node = Node(
            settings.NAME, part.word, part.gain_word, part.full_scale, settings.ZERO, draw,
            int(settings.RATE_HZ * 1000), hold_ms,
        )  # fmt: skip
        self.button = board.Button(settings.BUTTON)
        self.buzzer = board.buzzer(settings)
        self.lamp = board.Light(settings.LAMP, settings.LAMP_ON)
        self.memory = board.memory()
        self.kept = bytearray(keep.SIZE)
        if self.memory is not None and keep.unpack(self.memory(), self.node, self.clock.now()):
            print("a reset kept the register: counting goes on at", self.node.register())
        self.outbox = Outbox()
        wlan = network.WLAN(network.STA_IF)
        self.link = Link(settings, wlan, "uv" + board.unique(), self.outbox, self.clock, self.hear, draw)

    def hear(self, payload):
        """A command: obeyed and answered at once."""
        self.node.command(payload, self.clock.now())
        self.hand_over()

    def hand_over(self):
        """What is said is kept first: a reset must not fall back behind what the daemon has heard."""
        out = self.node.out
        if out:
            self.keep()
        while out:
            self.outbox.put(out.pop(0))

    def keep(self):
        if self.memory is not None:
            keep.pack(self.node, self.kept)
            self.memory(self.kept)

    async def count(self):
        """Never ends, and waits for nothing but the next tick."""
        node, watch, said = self.node, self.watch, ""
        while True:
            now = self.clock.now()
            counts = watch.poll(now)
            if counts is not None:
                node.sample(counts, watch.part.saturated, now)
                self.keep()
            elif watch.fault and node.counting:
                node.blind(now)
            else:
                node.advance(now)
            if self.button.pressed(now):
                node.press(now)
            self.hand_over()
            self.buzzer.set(node.calls.loud(now))
            self.lamp.set(lamp(now, not node.counting, self.link.state()))
            if watch.fault != said:
                said = watch.fault
                print("sensor: %s" % (said or "all is well"))
            await asyncio.sleep_ms(TICK_MS)

    async def run(self):
        network_task = asyncio.create_task(self.link.keep())
        try:
            await self.count()
        finally:
            network_task.cancel()
            self.buzzer.set(False)
            self.lamp.set(False)


def main():
    try:
        config.check(settings)
        program = Program()  # a pin that the board does not have is a ValueError, too
    except ValueError as err:
        print("settings.py:", err)
        return
    try:
        asyncio.run(program.run())
    except Exception as err:
        # A fault of this program: the register is kept where the board can, and the print is counted on.
        sys.print_exception(err)
        time.sleep_ms(1000)
        machine.reset()


if __name__ == "__main__":
    main()
