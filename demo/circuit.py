"""The circuit: every part of the Larkenfell 64 and the net on each of its pins.

How it works. A Z80A at 4 MHz; its control lines pass a 74LS244 (U3), which also feeds the expansion header. U9 divides
the memory map while U33's bit ROMOFF is low: 0000-1FFF start ROM (U4, 2764), 2000-3FFF screen RAM (U26, 6116),
4000-7FFF BASIC (U5, 27128), 8000-FFFF RAM; with ROMOFF high all 64 K are RAM (eight 4164). Every memory cycle pulls
/RAS, so the Z80's own refresh cycles refresh the DRAMs; U14 delays the switch of the address multiplexers (U12, U13)
and then /CAS by one 16 MHz clock each; /CAS needs a RAM address and a read or a write, so writes are early writes and
data in and out share the bus. The screen: 80 columns of 8 dots at 16 MHz. U20 divides, U22 (6845) addresses the screen
RAM through U23-U25 except while the CPU has it; U28 latches the code, U29 holds the letters, U30 shifts them out, U31
delays the display, cursor and sync signals by the same two character times, U32 and U43 mix. Keyboard: U34 pulls one of
ten columns down, U35 reads eight rows. U37 makes reset and cleans up the break key and the cassette input.
Ports: 00 6845 (A0 register select, write only), 20 keyboard rows (read), 40 latch U33 (write) and status U36 (read),
60 clock address, 80 clock data (U38, 146818 with its cell), E0 expansion.
"""

from __future__ import annotations

from dataclasses import dataclass

from demo.devices import Device, device


@dataclass(frozen=True, slots=True)
class Part:
    """One part: reference designator, device, the value or type printed in the list, state, and the net of each pin.

    `nets` holds (pin number, net name) in order of the device's pins; an unconnected pin has the net "".
    """

    ref: str
    device: Device
    value: str
    state: str
    nets: tuple[tuple[str, str], ...]

    def net(self, key: str) -> str:
        """The net on the pin with that number or function, "" when it is not connected."""
        return dict(self.nets)[self.device.pin(key).number]


class _Sheet:
    """Collects parts; refuses a pin named twice, a pin forgotten and a pin that the device does not have."""

    def __init__(self) -> None:
        self.parts: list[Part] = []

    def add(self, ref: str, name: str, wiring: str, value: str = "", state: str = "soldered") -> None:
        kind = device(name)
        nets: dict[str, str] = {p.number: {"gnd": "GND", "vcc": "VCC"}.get(p.kind, "") for p in kind.pins}
        open_pins = {p.number for p in kind.pins if p.kind not in ("gnd", "vcc", "nc")}
        for item in wiring.split():
            key, _, net = item.partition("=")
            number = kind.pin(key).number
            if number not in open_pins:
                raise ValueError(f"{ref} pin {key}: wired twice, or a supply pin")
            open_pins.discard(number)
            nets[number] = "" if net == "-" else net
        if open_pins:
            names = [kind.pin(n).name for n in sorted(open_pins, key=int)]
            raise ValueError(f"{ref} ({name}): nothing said about pins {' '.join(names)}")
        self.parts.append(Part(ref, kind, value or name, state, tuple(nets.items())))


def _bus(pins: str, nets: str, numbers: range, start: int | None = None) -> str:
    """Wiring of a bus: pin names with `{}` for the number, net names with `{}` for the number (counted from `start`)."""
    offset = 0 if start is None else start - numbers.start
    return " ".join(f"{pins.format(i)}={nets.format(i + offset)}" for i in numbers)


def _pairs(pins: str, nets: str) -> str:
    """Wiring of pins to nets, both given as words in the same order."""
    return " ".join(f"{p}={n}" for p, n in zip(pins.split(), nets.split(), strict=True))


def _cpu_and_memory(s: _Sheet) -> None:
    s.add(
        "U1",
        "Z80A CPU",
        f"{_bus('A{}', 'A{}', range(16))} {_bus('D{}', 'D{}', range(8))} CLK=CPUCLK /INT=/INT /NMI=/NMI "
        "/HALT=/CHALT /MREQ=/CMREQ /IORQ=/CIORQ /RD=/CRD /WR=/CWR /BUSAK=- /WAIT=/WAIT /BUSRQ=/BUSRQ /RESET=/RESET "
        "/M1=/CM1 /RFSH=/CRFSH",
        "Z80A",
        "socketed",
    )
    s.add(
        "U2", "74LS245", f"DIR=XDIR /G=GND {_bus('A{}', 'D{}', range(1, 9), 0)} {_bus('B{}', 'XD{}', range(1, 9), 0)}"
    )
    s.add(
        "U3",
        "74LS244",
        "/1G=GND /2G=GND "
        + _pairs(
            "1A1 1Y1 1A2 1Y2 1A3 1Y3 1A4 1Y4 2A1 2Y1 2A2 2Y2 2A3 2Y3 2A4 2Y4",
            "/CMREQ /MREQ /CIORQ /IORQ /CRD /RD /CWR /WR /CM1 /M1 /CRFSH /RFSH /CHALT /HALT CPUCLK XCLK",
        ),
    )
    s.add(
        "U4",
        "2764",
        f"VPP=VCC /PGM=VCC /CE=/ROM0 /OE=/RD {_bus('A{}', 'A{}', range(13))} {_bus('D{}', 'D{}', range(8))}",
        "2764-25",
        "socketed",
    )
    s.add(
        "U5",
        "27128",
        f"VPP=VCC /PGM=VCC /CE=/ROM1 /OE=/RD {_bus('A{}', 'A{}', range(14))} {_bus('D{}', 'D{}', range(8))}",
        "27128-25",
        "socketed",
    )
    s.add(
        "U9",
        "74LS138",
        "A=A13 B=A14 C=A15 G1=/RFSH /G2A=/MREQ /G2B=ROMOFF /Y0=/ROM0 /Y1=/VSEL /Y2=/BLO /Y3=/BHI "
        "/Y4=- /Y5=- /Y6=- /Y7=-",
    )
    for bit in range(8):
        s.add(
            f"U{50 + bit}",
            "4164",
            f"D=D{bit} Q=D{bit} /WE=/DWE /RAS=/DRAS /CAS=/DCAS {_bus('A{}', 'RA{}', range(8))}",
            "4164-15",
        )
    for ref, lo in (("U12", 0), ("U13", 4)):
        s.add(
            ref,
            "74LS257",
            "S=MUX /G=GND "
            + " ".join(f"{i + 1}A=A{lo + i} {i + 1}B=A{lo + i + 8} {i + 1}Y=MX{lo + i}" for i in range(4)),
        )
    s.add(
        "U14",
        "74LS74",
        "1D=MREQ 1CLK=DOTCLK /1CLR=MREQ /1PRE=PU1 1Q=MUX /1Q=- 2D=MUX 2CLK=DOTCLK /2CLR=MREQ /2PRE=PU1 2Q=CASEN /2Q=-",
    )
    s.add(
        "U15",
        "74LS10",
        "1A=CASEN 1B=RAMSEL 1C=RDWR 1Y=/CAS 2A=DIV8M 2B=DIV4M 2C=CCLK 2Y=/LOAD 3A=GND 3B=GND 3C=GND 3Y=-",
    )
    s.add(
        "U16",
        "74LS08",
        "1A=/BLO 1B=/BHI 1Y=/ROM1 2A=/ROM0 2B=/VSEL 2Y=NLOW 3A=/ROM1 3B=NLOW 3Y=RAMSEL 4A=GND 4B=GND 4Y=-",
    )
    s.add("U17", "74LS04", "1A=/MREQ 1Y=MREQ 2A=MREQ 2Y=/RAS 3A=/RD 3Y=RD 4A=CCLK 4Y=/CCLK 5A=GND 5Y=- 6A=GND 6Y=-")
    for i in range(8):
        s.add(f"R{i + 1}", "resistor", f"1=MX{i} 2=RA{i}", "33R")
    for i, (a, b) in enumerate((("/RAS", "/DRAS"), ("/CAS", "/DCAS"), ("/WR", "/DWE")), 9):
        s.add(f"R{i}", "resistor", f"1={a} 2={b}", "33R")
    s.add("RN1", "resistor network", f"C=VCC {_bus('{}R', 'D{}', range(1, 9), 0)}", "8 x 10k")


def _clock_and_reset(s: _Sheet) -> None:
    s.add(
        "U19", "74LS04", "1A=OSC1 1Y=OSC2 2A=OSC3 2Y=OSC4 3A=OSC4 3Y=DOTCLK 4A=DIV4M 4Y=CPUCLK 5A=GND 5Y=- 6A=GND 6Y=-"
    )
    s.add(
        "U20",
        "74LS163",
        "/CLR=PU1 CLK=DOTCLK A=GND B=GND C=GND D=GND ENP=PU1 ENT=PU1 /LOAD=PU1 QA=DIV8M QB=DIV4M QC=CCLK QD=- RCO=-",
    )
    s.add("Y1", "crystal", "1=OSC1 2=OSC4", "16 MHz")
    s.add("R12", "resistor", "1=OSC1 2=OSC2", "680R")
    s.add("R13", "resistor", "1=OSC3 2=OSC4", "680R")
    s.add("C1", "disc capacitor", "1=OSC2 2=OSC3", "10n")
    s.add("R14", "resistor", "1=CPUCLK 2=VCC", "680R")
    s.add("R15", "resistor", "1=PU1 2=VCC", "1k")
    s.add(
        "U37",
        "74LS14",
        "1A=RSTRC 1Y=RESET 2A=RESET 2Y=/RESET 3A=CASRC 3Y=CASIN 4A=BRKRC 4Y=BREAK 5A=BREAK 5Y=/NMI 6A=GND 6Y=-",
    )
    s.add("R16", "resistor", "1=RSTRC 2=VCC", "10k")
    s.add("C2", "electrolytic", "1=RSTRC 2=GND", "22u 16V")
    s.add("D1", "diode", "K=VCC A=RSTRC", "1N4148")
    s.add("S1", "push button", "1=RSTRC 2=GND", "reset")
    s.add("R17", "resistor", "1=BRKRC 2=VCC", "10k")
    s.add("C3", "disc capacitor", "1=BRKRC 2=GND", "100n")
    s.add("S2", "push button", "1=BRKRC 2=GND", "break")
    for ref, net in (("R18", "/INT"), ("R19", "/WAIT"), ("R20", "/BUSRQ")):
        s.add(ref, "resistor", f"1={net} 2=VCC", "4k7")


def _ports(s: _Sheet) -> None:
    s.add(
        "U10",
        "74LS138",
        "A=A5 B=A6 C=A7 G1=/M1 /G2A=/IORQ /G2B=GND /Y0=/P00 /Y1=/P20 /Y2=/P40 /Y3=/P60 /Y4=/P80 /Y5=- /Y6=- /Y7=/PE0",
    )
    s.add(
        "U11",
        "74LS32",
        "1A=/P20 1B=/RD 1Y=/KBRD 2A=/P40 2B=/RD 2Y=/STRD 3A=/P40 3B=/WR 3Y=/LATCH 4A=/PE0 4B=/RD 4Y=XDIR",
    )
    s.add("U39", "74LS32", "1A=/P80 1B=/RD 1Y=/CKRD 2A=/P80 2B=/WR 2Y=/CKWR 3A=GND 3B=GND 3Y=- 4A=GND 4B=GND 4Y=-")
    s.add("U40", "74LS02", "1A=/P00 1B=/WR 1Y=CRTE 2A=/P60 2B=/WR 2Y=CKAS 3A=/VSEL 3B=RD 3Y=/VOE 4A=GND 4B=GND 4Y=-")
    s.add(
        "U33",
        "74LS273",
        "/CLR=/RESET CLK=/LATCH "
        + " ".join(f"{i + 1}D=D{i}" for i in range(8))
        + " "
        + _pairs("1Q 2Q 3Q 4Q 5Q 6Q 7Q 8Q", "COL0 COL1 COL2 COL3 ROMOFF SPK CASBIT MOTOR"),
    )
    s.add("U34", "74LS145", "A=COL0 B=COL1 C=COL2 D=COL3 " + _bus("/Y{}", "/KC{}", range(10)))
    s.add(
        "U35",
        "74LS244",
        "/1G=/KBRD /2G=/KBRD "
        + _pairs("1A1 1A2 1A3 1A4 2A1 2A2 2A3 2A4", "KR0 KR1 KR2 KR3 KR4 KR5 KR6 KR7")
        + " "
        + _pairs("1Y1 1Y2 1Y3 1Y4 2Y1 2Y2 2Y3 2Y4", "D0 D1 D2 D3 D4 D5 D6 D7"),
    )
    s.add(
        "U36",
        "74LS244",
        "/1G=/STRD /2G=/STRD "
        + _pairs("1A1 1A2 1A3 1A4 2A1 2A2 2A3 2A4", "CFG0 CFG1 CFG2 CFG3 CKSQW CASIN VSY DEN")
        + " "
        + _pairs("1Y1 1Y2 1Y3 1Y4 2Y1 2Y2 2Y3 2Y4", "D0 D1 D2 D3 D4 D5 D6 D7"),
    )
    s.add("RN2", "resistor network", f"C=VCC {_bus('{}R', 'KR{}', range(1, 9), 0)}", "8 x 10k")
    s.add("RN3", "resistor network", f"C=VCC {_bus('{}R', 'CFG{}', range(1, 5), 0)} 5R=HSPOL 6R=- 7R=- 8R=-", "8 x 10k")
    s.add("SW1", "code switch", "1=CFG0 2=CFG1 3=CFG2 4=CFG3 5=GND 6=GND 7=GND 8=GND", "4 x on/off")
    s.add(
        "J3",
        "keyboard header",
        f"{_bus('{}', '/KC{}', range(1, 11), 0)} {_bus('{}', 'KR{}', range(11, 19), 0)} 19=VCC 20=GND",
        "keyboard",
    )
    s.add(
        "U41",
        "74LS244",
        "/1G=GND /2G=GND "
        + _pairs("1A1 1A2 1A3 1A4 2A1 2A2 2A3 2A4", "A0 A1 A2 A3 A4 A5 A6 A7")
        + " "
        + _pairs("1Y1 1Y2 1Y3 1Y4 2Y1 2Y2 2Y3 2Y4", "XA0 XA1 XA2 XA3 XA4 XA5 XA6 XA7"),
    )
    signals = (
        "XA0 XD0 XA1 XD1 XA2 XD2 XA3 XD3 GND GND XA4 XD4 XA5 XD5 XA6 XD6 XA7 XD7 GND GND /MREQ /IORQ /RD /WR /M1 /RFSH "
        "GND GND XCLK GND /RESET /INT /WAIT /HALT /PE0 GND VCC VCC VCC VCC"
    )
    s.add("J2", "expansion header", " ".join(f"{i}={n}" for i, n in enumerate(signals.split(), 1)), "expansion")


def _screen(s: _Sheet) -> None:
    s.add(
        "U22",
        "6845 CRTC",
        f"/RESET=/RESET LPSTB=GND {_bus('MA{}', 'MA{}', range(11))} MA11=- MA12=- MA13=- DE=DE CURSOR=CUR "
        f"CLK=CCLK R/W=GND E=CRTE RS=A0 /CS=GND {_bus('D{}', 'D{}', range(8))} RA0=SL0 RA1=SL1 RA2=SL2 RA3=SL3 RA4=- "
        "HSYNC=HS VSYNC=VS",
        "6845",
        "socketed",
    )
    for ref, lo in (("U23", 0), ("U24", 4), ("U25", 8)):
        lines = [f"{i + 1}A=A{lo + i} {i + 1}B=MA{lo + i} {i + 1}Y=VA{lo + i}" for i in range(4) if lo + i < 11]
        if lo == 8:
            lines.append("4A=/WR 4B=PU2 4Y=/VWE")
        s.add(ref, "74LS157", "S=/VSEL /G=GND " + " ".join(lines))
    s.add(
        "U26",
        "6116",
        f"/CS=GND /OE=/VOE /WE=/VWE {_bus('A{}', 'VA{}', range(11))} {_bus('D{}', 'VD{}', range(8))}",
        "6116-15",
    )
    s.add(
        "U27", "74LS245", f"DIR=/RD /G=/VSEL {_bus('A{}', 'D{}', range(1, 9), 0)} {_bus('B{}', 'VD{}', range(1, 9), 0)}"
    )
    s.add("U28", "74LS374", "/OE=GND CLK=/CCLK " + " ".join(f"{i + 1}D=VD{i} {i + 1}Q=CC{i}" for i in range(8)))
    s.add(
        "U29",
        "2732",
        f"/CE=GND /OE=GND A0=SL0 A1=SL1 A2=SL2 A3=SL3 {_bus('A{}', 'CC{}', range(4, 12), 0)} "
        f"{_bus('D{}', 'CG{}', range(8))}",
        "2732",
        "socketed",
    )
    s.add(
        "U30",
        "74LS166",
        "SER=GND INH=GND CLK=DOTCLK /CLR=PU2 SH//LD=/LOAD QH=DOTS "
        + _pairs("A B C D E F G H", "CG0 CG1 CG2 CG3 CG4 CG5 CG6 CG7"),
    )
    s.add(
        "U31",
        "74LS174",
        "/CLR=PU2 CLK=/CCLK 1D=DE 1Q=DE1 2D=DE1 2Q=DEN 3D=CUR 3Q=CUR1 4D=CUR1 4Q=CURD 5D=HS 5Q=HSY 6D=VS 6Q=VSY",
    )
    s.add(
        "U32", "74LS86", "1A=DOTS 1B=CURD 1Y=INK 2A=HSY 2B=VSY 2Y=SYNC 3A=SYNC 3B=PU2 3Y=/SYNC 4A=HSY 4B=HSPOL 4Y=HSOUT"
    )
    s.add("U43", "74LS00", "1A=/RD 1B=/WR 1Y=RDWR 2A=INK 2B=DEN 2Y=/VID 3A=/VID 3B=/VID 3Y=VID 4A=GND 4B=GND 4Y=-")
    s.add("R21", "resistor", "1=PU2 2=VCC", "1k")
    s.add("R22", "resistor", "1=VID 2=MIX", "470R")
    s.add("R23", "resistor", "1=/SYNC 2=MIX", "1k")
    s.add("R24", "resistor", "1=MIX 2=GND", "330R")
    s.add("Q1", "transistor", "E=FOLLOW B=MIX C=VCC", "2N3904")
    s.add("R25", "resistor", "1=FOLLOW 2=GND", "150R")
    s.add("R26", "resistor", "1=FOLLOW 2=COMP", "75R")
    s.add("LK1", "link", "1=HSPOL 2=GND", "line sync polarity")
    s.add("J4", "video header", "1=COMP 2=GND 3=VID 4=HSOUT 5=VSY 6=GND", "video")


def _sound_and_cassette(s: _Sheet) -> None:
    s.add("R27", "resistor", "1=SPK 2=SPKB", "1k")
    s.add("Q2", "transistor", "E=GND B=SPKB C=SPKC", "2N3904")
    s.add("R28", "resistor", "1=VCC 2=SPKV", "47R")
    s.add("J6", "speaker header", "1=SPKV 2=SPKC", "speaker")
    s.add("R29", "resistor", "1=CASBIT 2=CASOUT", "10k")
    s.add("R30", "resistor", "1=CASOUT 2=GND", "470R")
    s.add("C4", "disc capacitor", "1=CASEAR 2=CASRC", "100n")
    s.add("R31", "resistor", "1=CASRC 2=VCC", "1k8")
    s.add("R32", "resistor", "1=CASRC 2=GND", "560R")
    s.add("R33", "resistor", "1=MOTOR 2=MOTB", "1k")
    s.add("Q3", "transistor", "E=GND B=MOTB C=MOTC", "2N3904")
    s.add("D2", "diode", "K=VCC A=MOTC", "1N4148")
    s.add("J5", "cassette header", "1=CASOUT 2=GND 3=CASEAR 4=VCC 5=MOTC", "cassette")


def _clock_calendar(s: _Sheet) -> None:
    s.add(
        "U38",
        "146818",
        f"OSC1=CKX1 OSC2=CKX2 {_bus('AD{}', 'D{}', range(8))} /CE=/CKCE AS=CKAS /WR=/CKWR /RD=/CKRD "
        "/RESET=CKPS /IRQ=/INT CKFS=GND CKOUT=- PS=CKPS SQW=CKSQW VDD=VBB",
        "146818",
    )
    s.add("Y2", "watch crystal", "1=CKX1 2=CKX2", "32.768 kHz")
    s.add("R34", "resistor", "1=CKX1 2=CKX2", "10M")
    s.add("C5", "disc capacitor", "1=CKX1 2=GND", "22p")
    s.add("C6", "disc capacitor", "1=CKX2 2=GND", "22p")
    s.add("R35", "resistor", "1=CKPS 2=VBB", "100k")
    s.add("C7", "disc capacitor", "1=CKPS 2=GND", "100n")
    s.add("D3", "power diode", "K=VBB A=VCC", "1N5817")
    s.add("D4", "diode", "K=VBB A=CELL", "1N4148")
    s.add("R36", "resistor", "1=VBB 2=CELL", "1k")
    s.add("BT1", "cell", "+=CELL -=GND", "3.6 V NiCd")
    s.add("D5", "diode", "K=VCC A=CKZ", "3V3 zener")
    s.add("R37", "resistor", "1=CKZ 2=CKB", "4k7")
    s.add("R38", "resistor", "1=CKB 2=GND", "10k")
    s.add("Q4", "transistor", "E=GND B=CKB C=/CKCE", "2N3904")
    s.add("R39", "resistor", "1=/CKCE 2=VBB", "47k")
    s.add("C8", "disc capacitor", "1=VBB 2=GND", "100n")


def _supply(s: _Sheet) -> None:
    s.add("J1", "power connector", "1=VCC 2=VCC 3=GND 4=GND", "+5 V in")
    s.add("R40", "resistor", "1=VCC 2=LEDA", "330R")
    s.add("D6", "LED", "A=LEDA K=GND", "power on")
    for i in range(10, 14):
        s.add(f"C{i}", "electrolytic", "1=VCC 2=GND", "100u 16V")


def decoupled() -> tuple[str, ...]:
    """The chips that stand with a 100 nF capacitor of their own, in the order of C20, C21 and on: every chip on VCC."""
    sheet = _signals()
    return tuple(p.ref for p in sheet.parts if p.ref.startswith("U") and any(n == "VCC" for _, n in p.nets))


def _signals() -> _Sheet:
    sheet = _Sheet()
    for page in (_cpu_and_memory, _clock_and_reset, _ports, _screen, _sound_and_cassette, _clock_calendar, _supply):
        page(sheet)
    return sheet


def parts() -> tuple[Part, ...]:
    """All parts of the machine with their nets, in a fixed order. Pure: the same at every call."""
    sheet = _signals()
    for i, _ in enumerate(decoupled(), 20):
        sheet.add(f"C{i}", "disc capacitor", "1=GND 2=VCC", "100n")
    refs = [p.ref for p in sheet.parts]
    if len(set(refs)) != len(refs):
        raise ValueError("a reference designator is used twice")
    return tuple(sheet.parts)


def nets(of: tuple[Part, ...]) -> dict[str, list[tuple[str, str]]]:
    """The nets with two or more pins: name to its (ref, pin number) list, names and pins in a fixed order."""
    found: dict[str, list[tuple[str, str]]] = {}
    for part in of:
        for number, net in part.nets:
            if net:
                found.setdefault(net, []).append((part.ref, number))
    return {name: pins for name, pins in sorted(found.items()) if len(pins) > 1}
