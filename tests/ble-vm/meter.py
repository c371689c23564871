"""A virtual controller and a virtual meter in its reach.

    meter.py SOCKET

The controller is a serial one that the emulated machine reaches at the Unix socket. The meter does what it
is told on standard input, a command a line, and says on standard output, as JSON lines, what it did and
what happens to it:

    send TENTHS...      notify these values of its volts at once, one after the other
    stream [TENTHS...]  notify these in turn, ten a second; none ends that
    drop                drop the link
    reach on|off        come into reach of the controller or go out of it

A read gives what was notified last.
"""

import asyncio
import itertools
import json
import struct
import sys

from bumble.att import Attribute
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, PhysicalTransport
from bumble.device import Device
from bumble.gatt import (
    GATT_CHARACTERISTIC_PRESENTATION_FORMAT_DESCRIPTOR,
    GATT_CHARACTERISTIC_USER_DESCRIPTION_DESCRIPTOR,
    Characteristic,
    CharacteristicValue,
    Descriptor,
    Service,
)
from bumble.hci import Address, LeFeatureMask
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport import open_transport

NAME = "Bench meter"
ADDRESS = "C0:FF:EE:00:00:01"
SERVICE = "7a2b0000-9c7e-4f1d-8b3a-5d6e7f809a0b"
VOLTS = "7a2b0003-9c7e-4f1d-8b3a-5d6e7f809a0b"
TEMPERATURE = UUID.from_16_bits(0x2A6E)
# sint32, 10^-1, volt (Bluetooth SIG assigned numbers).
TENTHS_OF_VOLTS = struct.pack("<BbHBH", 0x10, -1, 0x2728, 1, 0)
HUNDREDTHS_OF_CELSIUS = 2150


class Air(LocalLink):
    """The library labels what is sent with the sender's random address always. A host that connects by its
    public address would not be known by the peer: the link's own address is used."""

    def send_acl_data(self, sender, destination, transport, data):
        if transport != PhysicalTransport.LE:
            super().send_acl_data(sender, destination, transport, data)
            return
        receiver = self.find_le_controller(destination)
        link = sender.le_connections.get(destination)
        if receiver and link:
            loop = asyncio.get_running_loop()
            loop.call_soon(receiver.on_link_acl_data, link.self_address, transport, data)


class Meter:
    def __init__(self, air):
        self.shows = 0
        self.streamed = []
        self.link = None
        self.device = Device(name=NAME, address=Address(ADDRESS))
        self.device.host = Host()
        self.device.host.controller = Controller("meter", link=air)
        readable = Attribute.READABLE
        self.volts = Characteristic(
            VOLTS,
            Characteristic.READ | Characteristic.NOTIFY,
            readable,
            CharacteristicValue(read=lambda _: struct.pack("<i", self.shows)),
            [
                Descriptor(GATT_CHARACTERISTIC_USER_DESCRIPTION_DESCRIPTOR, readable, b"Contactor"),
                Descriptor(GATT_CHARACTERISTIC_PRESENTATION_FORMAT_DESCRIPTOR, readable, TENTHS_OF_VOLTS),
            ],
        )
        temperature = Characteristic(
            TEMPERATURE,
            Characteristic.READ,
            readable,
            CharacteristicValue(read=lambda _: struct.pack("<h", HUNDREDTHS_OF_CELSIUS)),
        )
        self.device.add_service(Service(SERVICE, [self.volts, temperature]))
        # All in the advertisement itself: the virtual controller passes no scan responses on.
        self.device.advertising_data = bytes(
            AdvertisingData(
                [
                    (AdvertisingData.FLAGS, bytes([0x06])),
                    (AdvertisingData.COMPLETE_LOCAL_NAME, NAME.encode()),
                ]
            )
        )
        self.device.on("connection", self.linked)

    def linked(self, link):
        say(event="linked", by=str(link.peer_address))
        self.link = link
        link.on("disconnection", self.unlinked)

    def unlinked(self, reason):
        say(event="unlinked", reason=reason)
        self.link = None

    async def notify(self, tenths):
        self.shows = tenths
        await self.device.notify_subscribers(self.volts, struct.pack("<i", tenths))

    async def stream(self):
        for turn in itertools.count():
            await asyncio.sleep(0.1)
            if self.streamed and self.link:
                await self.notify(self.streamed[turn % len(self.streamed)])

    async def do(self, command, *arguments):
        match command:
            case "send":
                for tenths in arguments:
                    await self.notify(int(tenths))
            case "stream":
                self.streamed = [int(tenths) for tenths in arguments]
            case "drop":
                if self.link:
                    await self.link.disconnect()
            case "reach":
                if arguments[0] == "on":
                    await self.device.start_advertising(auto_restart=True)
                else:
                    await self.device.stop_advertising()
                    if self.link:
                        await self.link.disconnect()
            case _:
                raise ValueError(f"no such command: {command}")


def say(**what):
    print(json.dumps(what), flush=True)


async def main(socket):
    air = Air()
    transport = await open_transport(f"unix-server:{socket}")
    controller = Controller(
        "adapter",
        host_source=transport.source,
        host_sink=transport.sink,
        link=air,
        public_address="00:00:5E:00:53:01",
    )
    # It claims these, and then reports links in the plain way, for which the kernel does not wait.
    claimed = LeFeatureMask.LL_PRIVACY | LeFeatureMask.LE_EXTENDED_ADVERTISING
    controller.le_features &= ~claimed
    meter = Meter(air)
    await meter.device.power_on()
    await meter.device.start_advertising(auto_restart=True)
    streaming = asyncio.create_task(meter.stream())
    say(event="ready")
    commands = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(commands), sys.stdin
    )
    while line := (await commands.readline()).decode().split():
        await meter.do(*line)
        say(done=line)
    streaming.cancel()


asyncio.run(main(sys.argv[1]))
