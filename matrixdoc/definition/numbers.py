"""Numbers and wire colours as people write them.

Resistances and capacitances may be written with the letter and digit code of IEC 60062 (RKM code),
in which the letter stands in the place of the decimal point: ``4R7`` = 4.7 ohm, ``R47`` = 0.47 ohm,
``2K2`` = 2.2 kohm, ``1M0`` = 1 Mohm, ``4n7`` = 4.7 nF (IEC 60062:2016, clause on the letter and
digit code for resistance and capacitance values). ``5V1`` and ``1A6`` follow the same habit on
zener diodes and fuses (common practice, no source). Prefixes are those of the SI brochure, 9th
edition, table 7.

Wire colours are the letter codes of IEC 60757:2021, table 1.

Where a way of writing has two meanings (``1,000``, ``470m`` for ohms, ``10 mF``), it is refused
with a word about both, never guessed. Every function raises
:class:`~matrixdoc.definition.errors.InputError` and nothing else.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from matrixdoc.definition.errors import choice, near_miss, quoted, refusal

OpenLoop = Literal["OL"]
MeterFunction = Literal["volts", "ohms", "diode"]

MAXIMUM_TEXT = 64
MOST_VOLTS = 1000.0  # what hand meters take, and more than any rail of these machines
MOST_OHMS = 1e10
MOST_DIODE_VOLTS = 10.0

_OPEN = frozenset(
    {"ol", "o.l", "o.l.", ".ol", "0l", "0.l", "0.l.", ".0l", "open", "openloop", "opencircuit", "over",
     "overload", "overrange", "overlimit", "infinite", "infinity", "inf", "∞"}
)  # fmt: skip

_WORDS = {
    "ohm": "ohms", "V": "volts", "A": "amperes", "F": "farads", "H": "henries", "W": "watts", "Hz": "hertz",
    "s": "a time",
}  # fmt: skip
_EXAMPLES = {
    "ohm": "'4.7 ohm', '10k' or '2k2'", "V": "'50 V' or '350 mV'", "A": "'2 A' or '500 mA'",
    "F": "'4700 uF' or '100 nF'", "H": "'20 mH'", "W": "'0.25 W'", "Hz": "'50 Hz'",
    "s": "'100 ms', '2 s' or '5 min'",
}  # fmt: skip
_SPELLINGS = {
    "ohm": ("Ω", "ohm", "ohms", "R"),
    "V": ("V", "v", "volt", "volts", "VDC", "Vdc", "vdc", "DCV", "VAC", "Vac", "vac", "ACV"),
    "A": ("A", "a", "amp", "amps", "ampere", "amperes"),
    "F": ("F", "farad", "farads"),
    "H": ("H", "henry", "henries"),
    "W": ("W", "w", "watt", "watts"),
    "Hz": ("Hz", "hz", "HZ", "hertz"),
    "s": ("s", "sec", "secs", "second", "seconds"),
}
_PREFIXES = {
    "ohm": "mkKMG", "V": "uμmkK", "A": "uμm", "F": "pnuμPNU", "H": "nuμm", "W": "mkK", "Hz": "kKM",
    "s": "uμm",
}  # fmt: skip
_POWERS = {
    "p": -12, "P": -12, "n": -9, "N": -9, "u": -6, "U": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9,
    "pico": -12, "nano": -9, "micro": -6, "milli": -3, "kilo": 3, "meg": 6, "Meg": 6, "mega": 6, "giga": 9,
}  # fmt: skip
_WORD_PREFIXES = ("pico", "nano", "micro", "milli", "kilo", "meg", "Meg", "mega", "giga")
_AMBIGUOUS = {
    **dict.fromkeys(
        ("mohm", "mohms", "mOhm", "mOhms", "mOHM", "mOHMS"),
        "'m' may be a thousandth or a million here: write 0.001 ohm or 1 Mohm",
    ),
    "mF": "'mF' is a thousandth of a farad now and a millionth on old prints: write uF",
    "MF": "'MF' is a millionth of a farad on old prints only: write uF",
    "MV": "'M' is a million: write mV for thousandths",
    "MA": "'M' is a million: write mA for thousandths",
    "mhz": "write kHz or MHz",
}


@dataclass(frozen=True)
class _Unit:
    """What a suffix stands for: a base unit (empty: a bare prefix) and what to multiply by."""

    base: str
    scale: Decimal
    alternating: bool = False


def _suffixes() -> dict[str, _Unit]:
    table: dict[str, _Unit] = {}
    for base, spellings in _SPELLINGS.items():
        for spelling in spellings:
            alternating = base == "V" and "ac" in spelling.lower()
            words = [spelling, spelling.capitalize(), spelling.upper()] if len(spelling) > 2 else [spelling]
            for unit in words:
                table[unit] = _Unit(base, Decimal(1), alternating)
                for prefix in (*_PREFIXES[base], *(_WORD_PREFIXES if unit.islower() else ())):
                    table[prefix + unit] = _Unit(base, Decimal(1).scaleb(_POWERS[prefix]), alternating)
    # What old capacitors say for microfarad (common practice, no source).
    for old in ("mfd", "MFD", "Mfd"):
        table[old] = _Unit("F", Decimal(1).scaleb(-6))
    for prefix, power in (("kil", 3), ("Kil", 3), ("meg", 6), ("Meg", 6)):
        for word in ("ohm", "ohms"):
            table[prefix + word] = _Unit("ohm", Decimal(1).scaleb(power))
    for word in ("min", "mins", "minute", "minutes"):
        table[word] = _Unit("s", Decimal(60))
    for word in ("h", "hour", "hours"):
        table[word] = _Unit("s", Decimal(3600))
    for prefix in ("p", "n", "u", "μ", "m", "k", "K", "M", "G", "meg", "Meg"):
        table[prefix] = _Unit("", Decimal(1).scaleb(_POWERS[prefix]))
    return table


_SUFFIXES = {name: unit for name, unit in _suffixes().items() if name not in _AMBIGUOUS}

_SPLIT = re.compile(r"([+-]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?\s*([^\d.,+-].*)?", re.ASCII)
_RKM = re.compile(r"([+-]?)\s*(\d*)([RKMGVAFHkpnuμm])(\d+)\s*([^\d.,\s].*)?", re.ASCII)
_RKM_LETTERS = {"ohm": "RKMGk", "V": "V", "A": "A", "F": "Fpnuμ", "H": "Hnuμm", "W": "", "Hz": "", "s": ""}
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)", re.ASCII)

# Target units: base unit and how many of the base unit make one of them.
_TARGETS = {
    **{base: (base, Decimal(1)) for base in _WORDS},
    "ms": ("s", Decimal("0.001")),
    "min": ("s", Decimal(60)),
}


def parse_quantity(text: str, unit: str) -> float:
    """The number that ``text`` gives, in ``unit``.

    ``unit`` is one of ohm, V, A, F, H, W, Hz, s, ms, min. ``text`` names the same kind of unit
    (``100 ms`` for ``s`` gives 0.1), a prefix alone (``10k``), or nothing: a bare number is taken
    to be in ``unit``, except for F and H, where nobody means a whole farad.

    Raises:
        InputError: no number, another kind of unit, or two possible meanings.
        KeyError: ``unit`` is not in the list (a slip in the program, not of the person).
    """
    base, per_unit = _TARGETS[unit]
    number, suffix = _number_and_suffix(text, base)
    if not suffix:
        if base in ("F", "H") and number:
            raise refusal(text, _wanted(base), "write the unit behind the number")
        value = number
    else:
        value = (
            number * _scale(text, suffix, base, unit, f"a value in {_WORDS[base]} belongs here") / per_unit
        )
    return _finite(text, value, _wanted(base))


def parse_reading(text: str, function: MeterFunction) -> float | OpenLoop:
    """What a person read off a meter: volts for ``volts`` and ``diode``, ohms for ``ohms``, or ``OL``.

    ``470m`` is 0.47 V on a volts or diode range; for ohms it is refused, since it may be meant as
    470 Mohm. A diode reading of 100 or more without a unit is in millivolts, as many meters show it.
    A zeroed meter may show a hair below 0 ohm: that is 0. ``OL`` on a volts range is no reading.

    Raises:
        InputError: no reading, a wrong unit, or a value that the function cannot show.
    """
    base = "ohm" if function == "ohms" else "V"
    words = {"volts": "measures volts", "ohms": "measures ohms", "diode": "is a diode test, in volts"}[
        function
    ]
    wanted = {
        "volts": "volts, such as '4.7 V', '0.55' or '350 mV'",
        "ohms": "ohms, such as '12.3 ohm', '2k2' or OL",
        "diode": "the volts of a diode test, such as '0.55', '550 mV' or OL",
    }[function]
    if _is_open(text, base, words, wanted):
        if function == "volts":
            hint = "OL on a volts range means that the range is too low: choose a higher one"
            raise refusal(text, wanted, hint)
        return "OL"
    number, suffix = _number_and_suffix(text, base, wanted)
    scale = _scale(text, suffix, base, base, f"this check {words}", wanted) if suffix else Decimal(1)
    if suffix and _SUFFIXES[suffix].alternating:
        raise refusal(text, wanted, "that is an alternating voltage; this check measures DC volts")
    value = _finite(text, number * scale, wanted)
    if function == "ohms":
        return _plausible_ohms(text, value, wanted)
    if function == "diode" and not suffix and value >= 100:
        value = float(number.scaleb(-3))
    most = MOST_VOLTS if function == "volts" else MOST_DIODE_VOLTS
    if abs(value) > most:
        hint = (
            "with a value like this, write the unit: V or mV"
            if not suffix
            else "more than a meter shows here"
        )
        raise refusal(text, wanted, hint)
    return value


def _plausible_ohms(text: str, value: float, wanted: str) -> float:
    if value < -1:
        hint = (
            "below zero: there is still voltage in the circuit; switch off, unplug, let it discharge, measure"
        )
        raise refusal(text, wanted, hint)
    if value > MOST_OHMS:
        raise refusal(text, wanted, "more than a meter shows: OL?")
    return max(value, 0.0)


def _is_open(text: str, base: str, words: str, wanted: str) -> bool:
    """Whether ``text`` is the display of an open circuit, with or without a unit behind it."""
    plain = _normal(text)
    joined = re.sub(r"[\s-]+", "", plain).lower()
    if joined in _OPEN:
        return True
    head, _, tail = plain.partition(" ")
    if head.lower() not in _OPEN:
        return False
    unit = _SUFFIXES.get(tail.replace(" ", ""))
    if unit is not None and unit.base not in ("", base):
        raise refusal(text, wanted, f"that is {_WORDS[unit.base]}; this check {words}")
    return unit is not None


def _normal(text: str) -> str:
    """``text`` in one of the several ways that Unicode has for ohm, micro, minus and spaces."""
    if not isinstance(text, str):
        raise refusal(text, "a number as text")
    if len(text) > MAXIMUM_TEXT:
        raise refusal(text, "a number", f"this is {len(text)} characters long")
    if any(unicodedata.category(character) == "No" for character in text):
        # Compatibility forms would turn 10 with a raised 3 into 103.
        raise refusal(text, "plain digits")
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").replace("–", "-")
    return re.sub(r"\s+", " ", plain).strip()


def _number_and_suffix(text: str, base: str, wanted: str = "") -> tuple[Decimal, str]:
    """The number in ``text`` and the unit or prefix behind it, without spaces."""
    wanted = wanted or _wanted(base)
    plain = _normal(text)
    coded = _RKM.fullmatch(plain)
    if coded:
        sign, whole, letter, digits, rest = coded.groups()
        suffix = (rest or "").replace(" ", "")
        return Decimal(f"{sign}{whole or 0}.{digits}"), _coded_suffix(text, letter, suffix, base, wanted)
    if _THOUSANDS.match(plain):
        hint = "a comma before three digits may mean thousands: write a point, or no comma"
        raise refusal(text, wanted, hint)
    split = _SPLIT.fullmatch(plain)
    if not split:
        hint = "write the number first, the unit behind it" if re.search(r"\d", plain) else ""
        raise refusal(text, wanted, hint)
    sign, digits, power, rest = split.groups()
    number = Decimal(f"{sign}{digits.replace(',', '.')}{power or ''}")
    return number, (rest or "").replace(" ", "")


def _coded_suffix(text: str, letter: str, rest: str, base: str, wanted: str) -> str:
    """The suffix that a letter in the place of the point stands for: ``2k2`` is 2.2 with ``kΩ``."""
    if letter in _RKM_LETTERS[base]:
        symbol = "Ω" if base == "ohm" else base
        suffix = symbol if letter in ("R", base) else f"{letter}{symbol}"
        if rest in ("", symbol) or (rest in _SUFFIXES and _SUFFIXES[rest] == _Unit(base, Decimal(1))):
            return suffix
        raise refusal(text, wanted, f"the letter stands for the unit already; {quoted(rest)} is too much")
    meant = next((kind for kind, letters in _RKM_LETTERS.items() if letter in letters), "")
    said = f"that is the code for {_WORDS[meant]}" if meant else "that is no code known here"
    raise refusal(text, wanted, f"{said}; {_WORDS[base]} belong here")


def _scale(text: str, suffix: str, base: str, unit: str, belongs: str, wanted: str = "") -> Decimal:
    """What to multiply the number before ``suffix`` with, to get the base unit."""
    wanted = wanted or _wanted(base)
    known = _SUFFIXES.get(suffix)
    if known is not None and known.base not in ("", base):
        raise refusal(text, wanted, f"that is {_WORDS[known.base]}; {belongs}")
    if suffix in _AMBIGUOUS:
        raise refusal(text, wanted, _AMBIGUOUS[suffix])
    if known is None:
        units = [prefix + unit for unit in _SPELLINGS[base] for prefix in ("", *_PREFIXES[base])]
        raise refusal(text, wanted, near_miss(suffix, units) or f"the unit {quoted(suffix)} is not known")
    if known.base:
        return known.scale
    if base == "ohm" and suffix == "m":
        raise refusal(text, wanted, _AMBIGUOUS["mohm"])
    if base == "s" and (suffix == "m" or unit != "s"):
        raise refusal(text, wanted, "write the whole unit: ms, s or min")
    if suffix.replace("meg", "M").replace("Meg", "M") not in _PREFIXES[base]:
        raise refusal(text, wanted, f"the prefix {quoted(suffix)} is unusual here: write the whole unit")
    return known.scale


def _wanted(base: str) -> str:
    return f"{_WORDS[base]}, such as {_EXAMPLES[base]}"


def _finite(text: str, value: Decimal, wanted: str) -> float:
    number = float(value)
    if abs(number) > 1e15:
        raise refusal(text, wanted, "this is out of all proportion")
    return number


# -- wire colours ----------------------------------------------------------------------------------

COLOURS = {
    "BK": "black", "BN": "brown", "RD": "red", "OG": "orange", "YE": "yellow", "GN": "green", "BU": "blue",
    "VT": "violet", "GY": "grey", "WH": "white", "PK": "pink", "GD": "gold", "TQ": "turquoise",
    "SR": "silver", "GNYE": "green-and-yellow",
}  # fmt: skip
"""Letter codes of IEC 60757:2021, table 1, and their words."""

# Other words that people write (violet/purple and grey/slate after the same table).
_COLOUR_WORDS = {
    **{code: code for code in COLOURS},
    **{word.upper(): code for code, word in COLOURS.items() if code != "GNYE"},
    "PURPLE": "VT", "GRAY": "GY", "SLATE": "GY",
}  # fmt: skip
_EARTH = re.compile(r"GREEN[\s-]*AND[\s-]*YELLOW|GNYE", re.IGNORECASE)
_LIGHT_BLUE = re.compile(r"LIGHT[\s-]BLUE")  # the table gives both the code BU
_PAIR = re.compile(r"([A-Z]{2})([A-Z]{2})")
_COLOUR_WANTED = "a wire colour, such as WH, WH-BN or white-brown"


def parse_colour(text: str) -> str:
    """The canonical code of a wire colour: ``WH``, or base and trace as ``WH-BN``.

    Takes the codes of IEC 60757 or words, base first, with ``-``, ``/`` or a space between them, or
    two codes joined (``WHBN``, IEC 60757 clause 5.1). ``GNYE`` is the protective conductor's
    green-and-yellow; a green wire with a yellow trace is ``GN-YE``.

    Raises:
        InputError: an unknown colour (with the nearest one), or more than one trace.
    """
    plain = _normal(text)
    if _EARTH.fullmatch(plain):
        return "GNYE"
    names = [name for name in re.split(r"[\s/-]+", _LIGHT_BLUE.sub("BLUE", plain.upper())) if name]
    pair = _PAIR.fullmatch(names[0]) if len(names) == 1 and names[0] not in _COLOUR_WORDS else None
    if pair and pair[1] in COLOURS and pair[2] in COLOURS:
        names = [pair[1], pair[2]]
    unknown = [name for name in names if name not in _COLOUR_WORDS]
    if unknown or not names:
        raise refusal(text, _COLOUR_WANTED, _colour_hint(unknown[0] if unknown else ""))
    codes = [_COLOUR_WORDS[name] for name in names]
    if len(codes) > 2 or (len(codes) == 2 and "GNYE" in codes):
        raise refusal(text, _COLOUR_WANTED, "one base colour and at most one trace")
    if len(codes) == 2 and codes[0] == codes[1]:
        raise refusal(text, _COLOUR_WANTED, f"base and trace are the same: write {codes[0]}")
    return "-".join(codes)


def colour_words(code: str) -> str:
    """``WH-BN`` as ``white-brown``; ``GNYE`` as ``green-and-yellow``.

    Raises:
        InputError: ``code`` is no colour.
    """
    return "-".join(COLOURS[part] for part in parse_colour(code).split("-"))


def _colour_hint(unknown: str) -> str:
    """The nearest word; for a short form the codes that begin alike; else all codes."""
    alike = [code for code in COLOURS if code[:1] == unknown[:1]]
    if 0 < len(unknown) <= 2 and alike:
        return f"did you mean {choice(alike)}?"
    words = [word.lower() for word in _COLOUR_WORDS if word not in COLOURS]
    return near_miss(unknown, words) or f"known are {', '.join(COLOURS)}"
