"""Reads values and descriptors with the package bluetooth-sig, which carries the Bluetooth SIG's own
tables, and with Python's own number formats. JSON in, JSON out."""

import json
import logging
import struct
import sys

from bluetooth_sig import BluetoothSIGTranslator
from bluetooth_sig.gatt.characteristics.utils.ieee11073_parser import IEEE11073Parser
from bluetooth_sig.gatt.descriptors.characteristic_presentation_format import (
    CharacteristicPresentationFormatDescriptor,
)
from bluetooth_sig.gatt.exceptions import SpecialValueDetectedError
from bluetooth_sig.registry.core.formattypes import get_format_types_registry
from bluetooth_sig.registry.uuids.units import get_units_registry

logging.disable(logging.CRITICAL)
translator = BluetoothSIGTranslator()


def characteristic(uuid, value):
    try:
        return {"value": float(translator.parse_characteristic(uuid, bytes.fromhex(value)))}
    except SpecialValueDetectedError:
        return {"special": True}
    except Exception as error:
        return {"error": type(error).__name__}


def presentation(value):
    data = CharacteristicPresentationFormatDescriptor().parse_value(bytes.fromhex(value)).value
    return {
        "format": int(data.format),
        "name": data.format_name,
        "exponent": data.exponent,
        "unit": data.unit,
        "unit_name": data.unit_name,
        "namespace": int(data.namespace),
        "description": data.description,
    }


def number(name, value):
    """By the format's name. Medical floats only where they are no numbers: the package takes their
    exponent as biased, and the standard has it in two's complement."""
    value = bytes.fromhex(value)
    if name.startswith("uint"):
        return repr(int.from_bytes(value, "little"))
    if name.startswith("sint"):
        return repr(int.from_bytes(value, "little", signed=True))
    if name == "float32":
        return repr(struct.unpack("<f", value)[0])
    if name == "float64":
        return repr(struct.unpack("<d", value)[0])
    if name == "medfloat16":
        return repr(IEEE11073Parser.parse_sfloat(value))
    return repr(IEEE11073Parser.parse_float32(value))


asked = json.load(sys.stdin)
types = {}
for info in (get_format_types_registry().get_format_type_info(n) for n in range(0x1D)):
    if info is not None:
        types[info.value] = {"name": info.short_name, "size": info.size, "exponent": info.exponent}
units = {}
for n in range(0x2700, 0x2800):
    info = get_units_registry().get_unit_info(f"{n:04X}")
    if info is not None:
        units[n] = info.name
json.dump(
    {
        "types": types,
        "units": units,
        "characteristics": [characteristic(u, v) for u, v in asked["characteristics"]],
        "presentations": [presentation(v) for v in asked["presentations"]],
        "numbers": [number(types[f]["name"], v) for f, v in asked["numbers"]],
    },
    sys.stdout,
)
