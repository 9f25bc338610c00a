"""The chips: every pin's number, function and electrical kind, as the makers' data sheets have them.

Pin numbers and functions are public data-sheet facts (TTL data books of the 74LS family; the data sheets of the
Z80 CPU, HD6845S/MC6845, 4164, 6116, 2732, 2764, 27128, MC146818), written from memory and checked by
tests/facts/test_demo_devices.py where an independent rule exists (supply pins, pin counts, no number twice).

Kinds of pins: `in` (logic input), `out` (push-pull output, always driving), `tri` (three-state output),
`io` (three-state both ways), `oc` (open collector or open drain), `gnd`, `vcc`, `nc`, `ana` (analogue or crystal
pin, no logic rule applies), `pas` (a passive part's end).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin of a device: number (as printed in the data sheet), function and electrical kind.

    `load_ma` is the current an input wants drawn out of it at a low level, `sink_ma` the low-level current that an
    output can take; both in milliampere, worst case of the data sheet, 0 where no rule needs them.
    """

    number: str
    name: str
    kind: str
    load_ma: float = 0.0
    sink_ma: float = 0.0


@dataclass(frozen=True, slots=True)
class Device:
    """A device type: name, package and pins in order of their numbers.

    Example: `device("74LS00").pin("3Y").number == "8"`.
    """

    name: str
    package: str
    pins: tuple[Pin, ...]

    def pin(self, key: str) -> Pin:
        """The pin called `key`: its function's name (names that occur twice: the first), or its number as a string."""
        for pin in self.pins:
            if pin.name == key:
                return pin
        for pin in self.pins:
            if pin.number == key:
                return pin
        raise KeyError(f"{self.name} has no pin {key}; it has {' '.join(p.name for p in self.pins)}")


# Low-level currents, mA. 74LS: I_IL 0.4, I_OL 8; bus drivers 244/245: I_IL 0.2, I_OL 24; 157/257 select inputs count
# double (TTL data book). NMOS/CMOS inputs leak microamperes: 0.01. Z80: I_OL 1.8. 6845: 1.6. EPROM, RAM: 2.1 (4164: 4.2).
LS_IN, LS_OUT, BUS_IN, BUS_OUT, MOS_IN = 0.4, 8.0, 0.2, 24.0, 0.01


def _chip(
    name: str,
    package: str,
    functions: str,
    kinds: dict[str, str],
    load_ma: float = LS_IN,
    sink_ma: float = LS_OUT,
    heavy: tuple[str, ...] = (),
) -> Device:
    """Builds a device from the functions of its pins in order; `kinds` says what is not a plain input."""
    pins = []
    for index, function in enumerate(functions.split(), 1):
        kind = kinds.get(function, {"GND": "gnd", "VSS": "gnd", "VCC": "vcc", "NC": "nc"}.get(function, "in"))
        load = load_ma * (2 if function in heavy else 1) if kind in ("in", "io") else 0.0
        sink = sink_ma if kind in ("out", "tri", "io", "oc") else 0.0
        pins.append(Pin(str(index), function, kind, load, sink))
    return Device(name, package, tuple(pins))


def _outs(names: str, kind: str = "out") -> dict[str, str]:
    return dict.fromkeys(names.split(), kind)


_GATE2 = "1A 1B 1Y 2A 2B 2Y GND 3Y 3A 3B 4Y 4A 4B VCC"
_GATE2_NOR = "1Y 1A 1B 2Y 2A 2B GND 3A 3B 3Y 4A 4B 4Y VCC"
_HEX = "1A 1Y 2A 2Y 3A 3Y GND 4Y 4A 5Y 5A 6Y 6A VCC"
_MUX = "S 1A 1B 1Y 2A 2B 2Y GND 3Y 3B 3A 4Y 4B 4A /G VCC"
_OCTAL_D = "{0} 1Q 1D 2D 2Q 3Q 3D 4D 4Q GND CLK 5Q 5D 6D 6Q 7Q 7D 8D 8Q VCC"
_Y4 = _outs("1Y 2Y 3Y 4Y")
_Y6 = _outs("1Y 2Y 3Y 4Y 5Y 6Y")
_Q8 = "1Q 2Q 3Q 4Q 5Q 6Q 7Q 8Q"
_EPROM24 = "A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND D3 D4 D5 D6 D7 {0} A10 {1} {2} A9 A8 VCC"
_EPROM28 = "VPP A12 A7 A6 A5 A4 A3 A2 A1 A0 D0 D1 D2 GND D3 D4 D5 D6 D7 /CE A10 /OE A11 A9 A8 {0} /PGM VCC"
_D8 = "D0 D1 D2 D3 D4 D5 D6 D7"

_LIST = (
    _chip("74LS00", "DIP14", _GATE2, _Y4),
    _chip("74LS02", "DIP14", _GATE2_NOR, _Y4),
    _chip("74LS04", "DIP14", _HEX, _Y6),
    _chip("74LS08", "DIP14", _GATE2, _Y4),
    _chip("74LS10", "DIP14", "1A 1B 2A 2B 2C 2Y GND 3Y 3A 3B 3C 1Y 1C VCC", _outs("1Y 2Y 3Y")),
    _chip("74LS14", "DIP14", _HEX, _Y6),
    _chip("74LS32", "DIP14", _GATE2, _Y4),
    _chip(
        "74LS74",
        "DIP14",
        "/1CLR 1D 1CLK /1PRE 1Q /1Q GND /2Q 2Q /2PRE 2CLK 2D /2CLR VCC",
        _outs("1Q /1Q 2Q /2Q"),
        heavy=("/1CLR", "/1PRE", "/2CLR", "/2PRE"),
    ),
    _chip("74LS86", "DIP14", _GATE2, _Y4, load_ma=0.8),
    _chip(
        "74LS138",
        "DIP16",
        "A B C /G2A /G2B G1 /Y7 GND /Y6 /Y5 /Y4 /Y3 /Y2 /Y1 /Y0 VCC",
        _outs("/Y0 /Y1 /Y2 /Y3 /Y4 /Y5 /Y6 /Y7"),
    ),
    _chip(
        "74LS145",
        "DIP16",
        "/Y0 /Y1 /Y2 /Y3 /Y4 /Y5 /Y6 GND /Y7 /Y8 /Y9 D C B A VCC",
        _outs("/Y0 /Y1 /Y2 /Y3 /Y4 /Y5 /Y6 /Y7 /Y8 /Y9", "oc"),
        sink_ma=24.0,
    ),
    _chip("74LS157", "DIP16", _MUX, _Y4, heavy=("S", "/G")),
    _chip(
        "74LS163",
        "DIP16",
        "/CLR CLK A B C D ENP GND /LOAD ENT QD QC QB QA RCO VCC",
        _outs("QA QB QC QD RCO"),
        heavy=("ENT", "/LOAD", "/CLR"),
    ),
    _chip("74LS166", "DIP16", "SER A B C D INH CLK GND /CLR E F G QH H SH//LD VCC", _outs("QH")),
    _chip("74LS174", "DIP16", "/CLR 1Q 1D 2D 2Q 3D 3Q GND CLK 4Q 4D 5Q 5D 6D 6Q VCC", _outs("1Q 2Q 3Q 4Q 5Q 6Q")),
    _chip(
        "74LS244",
        "DIP20",
        "/1G 1A1 2Y4 1A2 2Y3 1A3 2Y2 1A4 2Y1 GND 2A1 1Y4 2A2 1Y3 2A3 1Y2 2A4 1Y1 /2G VCC",
        _outs("1Y1 1Y2 1Y3 1Y4 2Y1 2Y2 2Y3 2Y4", "tri"),
        load_ma=BUS_IN,
        sink_ma=BUS_OUT,
    ),
    _chip(
        "74LS245",
        "DIP20",
        "DIR A1 A2 A3 A4 A5 A6 A7 A8 GND B8 B7 B6 B5 B4 B3 B2 B1 /G VCC",
        _outs("A1 A2 A3 A4 A5 A6 A7 A8 B1 B2 B3 B4 B5 B6 B7 B8", "io"),
        load_ma=BUS_IN,
        sink_ma=BUS_OUT,
    ),
    _chip("74LS257", "DIP16", _MUX, _outs("1Y 2Y 3Y 4Y", "tri"), heavy=("S",)),
    _chip("74LS273", "DIP20", _OCTAL_D.format("/CLR"), _outs(_Q8)),
    _chip("74LS374", "DIP20", _OCTAL_D.format("/OE"), _outs(_Q8, "tri"), sink_ma=24.0),
    _chip(
        "Z80A CPU",
        "DIP40",
        "A11 A12 A13 A14 A15 CLK D4 D3 D5 D6 VCC D2 D7 D0 D1 /INT /NMI /HALT /MREQ /IORQ "
        "/RD /WR /BUSAK /WAIT /BUSRQ /RESET /M1 /RFSH GND A0 A1 A2 A3 A4 A5 A6 A7 A8 A9 A10",
        _outs("A0 A1 A2 A3 A4 A5 A6 A7 A8 A9 A10 A11 A12 A13 A14 A15 /MREQ /IORQ /RD /WR", "tri")
        | _outs("/HALT /BUSAK /M1 /RFSH")
        | _outs(_D8, "io"),
        load_ma=MOS_IN,
        sink_ma=1.8,
    ),
    _chip(
        "6845 CRTC",
        "DIP40",
        "VSS /RESET LPSTB MA0 MA1 MA2 MA3 MA4 MA5 MA6 MA7 MA8 MA9 MA10 MA11 MA12 MA13 DE CURSOR VCC "
        "CLK R/W E RS /CS D7 D6 D5 D4 D3 D2 D1 D0 RA4 RA3 RA2 RA1 RA0 HSYNC VSYNC",
        _outs("MA0 MA1 MA2 MA3 MA4 MA5 MA6 MA7 MA8 MA9 MA10 MA11 MA12 MA13 RA0 RA1 RA2 RA3 RA4 DE CURSOR HSYNC VSYNC")
        | _outs(_D8, "io"),
        load_ma=MOS_IN,
        sink_ma=1.6,
    ),
    _chip(
        "4164",
        "DIP16",
        "NC D /WE /RAS A0 A2 A1 VCC A7 A5 A4 A3 A6 Q /CAS VSS",
        _outs("Q", "tri"),
        load_ma=MOS_IN,
        sink_ma=4.2,
    ),
    _chip("6116", "DIP24", _EPROM24.format("/CS", "/OE", "/WE"), _outs(_D8, "io"), load_ma=MOS_IN, sink_ma=2.1),
    _chip("2732", "DIP24", _EPROM24.format("/CE", "/OE", "A11"), _outs(_D8, "tri"), load_ma=MOS_IN, sink_ma=2.1),
    _chip("2764", "DIP28", _EPROM28.format("NC"), _outs(_D8, "tri"), load_ma=MOS_IN, sink_ma=2.1),
    _chip("27128", "DIP28", _EPROM28.format("A13"), _outs(_D8, "tri"), load_ma=MOS_IN, sink_ma=2.1),
    _chip(
        "146818",
        "DIP24",
        "NC OSC1 OSC2 AD0 AD1 AD2 AD3 AD4 AD5 AD6 AD7 VSS /CE AS /WR NC /RD /RESET /IRQ CKFS CKOUT PS SQW VDD",
        _outs("AD0 AD1 AD2 AD3 AD4 AD5 AD6 AD7", "io")
        | {"OSC1": "ana", "OSC2": "ana", "/IRQ": "oc", "VDD": "vbb", "CKOUT": "out", "SQW": "out", "PS": "in"},
        load_ma=MOS_IN,
        sink_ma=1.6,
    ),
)


def _passive(name: str, package: str, ends: str = "1 2") -> Device:
    return Device(name, package, tuple(Pin(str(i), end, "pas") for i, end in enumerate(ends.split(), 1)))


def _plug(name: str, package: str, count: int) -> Device:
    return Device(name, package, tuple(Pin(str(i), str(i), "pas") for i in range(1, count + 1)))


_OTHERS = (
    _passive("resistor", "AXIAL400"),
    _passive("disc capacitor", "DISC200"),
    _passive("electrolytic", "RADIAL200"),
    _passive("diode", "DIODE400", "K A"),
    _passive("power diode", "AXIAL500", "K A"),
    _passive("LED", "LED100", "A K"),
    _passive("transistor", "TO92", "E B C"),
    _passive("crystal", "HC18"),
    _passive("watch crystal", "WATCH"),
    _passive("cell", "CELL", "+ -"),
    _passive("push button", "BUTTON"),
    _passive("link", "LINK"),
    _passive("resistor network", "SIP9", "C 1R 2R 3R 4R 5R 6R 7R 8R"),
    _passive("code switch", "DIP8", "1 2 3 4 5 6 7 8"),
    _plug("power connector", "POWER4", 4),
    _plug("expansion header", "HEADER2X20", 40),
    _plug("keyboard header", "HEADER2X10", 20),
    _plug("video header", "HEADER1X6", 6),
    _plug("cassette header", "HEADER1X5", 5),
    _plug("speaker header", "HEADER1X2", 2),
)

DEVICES: dict[str, Device] = {device.name: device for device in (*_LIST, *_OTHERS)}


def device(name: str) -> Device:
    """The device type of that name. Raises KeyError with the known names when there is none."""
    try:
        return DEVICES[name]
    except KeyError:
        raise KeyError(f"no device {name}; known: {', '.join(sorted(DEVICES))}") from None
