"""A small invented machine and a stand-in for the engine: fast, and the same answers each time.

The case itself (entries, undo, cautions) is the real one; only what is computed is made up here.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from matrixdoc.case.case import Case, Entry
from matrixdoc.case.session import Session
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import OPEN_LOOP, Check, Finding, Look, Situation
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.definition.wiring import (
    Cell,
    Coil,
    Lamp,
    Line,
    Matrix,
    Part,
    Place,
    Sensor,
    Switch,
    Wiring,
)
from matrixdoc.diagnosis.results import (
    Cause,
    Diagnosis,
    ExpectedOutcome,
    FaultName,
    RankedCheck,
    Reason,
)
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

NAMES = ("left lane", "right lane", "hook", "bell gate", "rope", "top hole", "anchor", "buoy", "drain", "net")


def make_wiring(
    columns: int = 4,
    rows: int = 4,
    *,
    gaps: Sequence[tuple[int, int]] = ((4, 4),),
    title: str = "Test Harbour",
) -> Wiring:
    """A switch matrix of that size with places left empty, a 3x3 lamp matrix, coils, loose devices."""
    parts: dict[str, Part] = {}
    switches: dict[str, Switch] = {}
    lamps: dict[str, Lamp] = {}

    def add(reference: str, kind: str, *nets: str, place: str = "playfield") -> str:
        parts[reference] = Part(reference, kind, nets, title=reference.replace("/", " "), place=place)
        return reference

    def lines(matrix: str, letter: str, count: int) -> tuple[Line, ...]:
        found = []
        for n in range(1, count + 1):
            key = f"{letter}{n}"
            pin = add(f"{matrix}/{key}/pin", "pin", f"{matrix}/{key}/board", f"{matrix}/{key}/lug1")
            colour = "RDBU" if matrix == "switch" else ""
            found.append(
                Line(key, "", f"{matrix}/{key}/board", (f"{matrix}/{key}/lug1",), parts=(pin,), colour=colour)
            )
        return tuple(found)

    cells = []
    names = itertools.cycle(NAMES)
    for c, r in itertools.product(range(1, columns + 1), range(1, rows + 1)):
        if (c, r) in gaps:
            continue
        reference = f"switch/C{c}R{r}"
        contact = add(f"{reference}/contact", "contact", f"switch/C{c}/lug1", f"{reference}/middle")
        diode = add(f"{reference}/diode", "diode", f"{reference}/middle", f"switch/R{r}/lug1")
        name = next(names)
        cells.append(Cell(reference, f"C{c}", f"R{r}", name, contact, diode, parts=(contact, diode)))
        switches[reference] = Switch(reference, name, contact, "switch", normally_closed=(c, r) == (2, 1))
    lamp_cells = []
    for c, r in itertools.product(range(1, 4), range(1, 4)):
        reference = f"lamp/C{c}R{r}"
        element = add(f"{reference}/lamp", "lamp", f"lamp/C{c}/lug1", f"lamp/R{r}/lug1")
        name = f"lamp {c}{r}"
        lamp_cells.append(Cell(reference, f"C{c}", f"R{r}", name, element, parts=(element,)))
        lamps[reference] = Lamp(reference, name, element, "lamp")
    door = add("switch/coin door", "contact", "coin door", "ground", place="door")
    switches[door] = Switch(door, "coin door", door, sensor="coin door input")
    loose = add("lamp/sign", "lamp", "sign", "ground")
    lamps[loose] = Lamp(loose, "sign", loose)
    coils = {}
    for n, name in ((1, "kicker"), (2, "trough")):
        winding = add(f"coil/{n}/winding", "coil", "rail/coil", f"coil/{n}/low")
        coils[f"coil/{n}"] = Coil(f"coil/{n}", name, winding, parts=(winding,))
    return Wiring(
        title=title,
        parts=parts,
        drives={},
        sensors={"coin door input": Sensor("coin door input", "coin door", 1.0, 3.0)},
        matrices={
            "switch": Matrix(
                "switch", "switch", lines("switch", "C", columns), lines("switch", "R", rows), tuple(cells)
            ),
            "lamp": Matrix("lamp", "lamp", lines("lamp", "C", 3), lines("lamp", "R", 3), tuple(lamp_cells)),
        },
        switches=switches,
        lamps=lamps,
        coils=coils,
        supplies={},
        places={
            "playfield": Place("playfield", "under the playfield", 2.0),
            "door": Place("door", "door", 1.0),
        },
        connectors={},
    )


class FakeSession(Session):
    """Suspects the contact, the diode and the column pin of every switch that never reads."""

    def __init__(self, wiring: Wiring, fail: bool = False) -> None:
        super().__init__(wiring, Settings())
        self.fail = fail
        self.asked = 0

    def _dead(self, entries: Sequence[Entry]) -> list[str]:
        dead: dict[str, bool] = {}
        for entry in entries:
            finding = entry.finding
            if finding is None or finding.look.kind != "reads" or len(finding.situation.held) != 1:
                continue
            one = finding.situation.held[0]
            if isinstance(finding.outcome, frozenset):
                dead[one] = one not in finding.outcome
        return [one for one, is_dead in dead.items() if is_dead]

    def _shares(self, one: str, entries: Sequence[Entry]) -> dict[tuple[str, str], float]:
        shares = {"contact": 0.65, "diode": 0.2}
        for entry in entries:
            look = entry.finding.look if entry.finding else None
            if look is not None and look.kind == "meter" and entry.finding is not None:
                good = entry.finding.outcome != OPEN_LOOP
                shares = {"contact": 0.04, "diode": 0.8} if good else {"contact": 0.96, "diode": 0.01}
        modes = {"contact": "never closes", "diode": "open"}
        return {(f"{one}/{part}", modes[part]): share for part, share in shares.items()}

    def diagnose(self, entries, *, compared=True):
        self.asked += 1
        if self.fail:
            raise MatrixdocError("the stand-in refuses: nothing is wrong with your findings")
        causes, marginals = [], {}
        for one in self._dead(entries):
            for (part, mode), share in self._shares(one, entries).items():
                marginals[part, mode] = share
                fault = FaultName(part, mode, title=part.replace("/", " "), place="playfield")
                causes.append(
                    Cause(
                        0,
                        share,
                        f"{part.replace('/', ' ')}: {mode}",
                        (fault,),
                        (((fault,), share),),
                        for_=(Reason(f"{one} held: reads nothing", 3.2),),
                        against=(Reason("its neighbours read", -0.4),),
                        repair="clean and adjust the contact" if "contact" in part else "replace the diode",
                        caution="switch off and unplug",
                    )
                )
        causes.sort(key=lambda c: -c.probability)
        ranked = tuple(replace(cause, rank=i) for i, cause in enumerate(causes, 1))
        return Diagnosis(ranked, 0.05, 0.001, 0.02 if causes else 0.95, (), marginals, ("always unplug",), ())

    def checks(self, entries, limit):
        declined = {e.check_key for e in entries if e.kind == "decline"}
        ranked: list[RankedCheck] = []
        for one in self._dead(entries):
            meter = Check(
                f"ohms across the contact of {one}, pressed",
                "meter",
                Situation(power=False, held=(one,)),
                Look("meter", function="ohms", red=f"switch/{one[7:9]}/lug1", black=f"{one}/middle"),
                6.0,
                places=("playfield",),
                set_up=("meter on ohms",),
                cautions=("switch off AND unplug",),
                key=f"ohms {one}",
            )
            act = Check(
                f"clean the contact of {one}",
                "act",
                Situation(held=(one,)),
                Look("reads"),
                6.0,
                set_up=("clean it, then press it",),
                cautions=("switch off AND unplug",),
                mends=(f"{one}/contact",),
                action="clean",
                key=f"clean {one}",
            )
            press = Check(
                "hold the switch beside it",
                "look",
                Situation(held=("switch/C1R1",)),
                Look("reads"),
                1.0,
                key="press switch/C1R1",
            )
            for check in (meter, act, press):
                if check.key not in declined:
                    words = ("OL (open)", "0.1 ohm") if check is meter else ("reads it", "reads nothing")
                    expected = tuple(ExpectedOutcome(i + 1, w) for i, w in enumerate(words))
                    ranked.append(
                        RankedCheck(
                            len(ranked) + 1, check, check.minutes, 0.9, 0.2, expected, "tells them apart"
                        )
                    )
        return tuple(ranked[:limit])

    def predict(self, faults: tuple[Fault, ...], situation: Situation, look: Look) -> Prediction:
        if look.kind == "reads":
            return ((frozenset() if faults else frozenset(situation.held), 1.0),)
        return ((OPEN_LOOP if faults else 0.1, 1.0),)


def fake_case(wiring: Wiring | None = None, *, fail: bool = False) -> Case:
    wiring = wiring or make_wiring()
    return Case(wiring, Settings(), (), FakeSession(wiring, fail))


class MemoryStore:
    """A store that keeps entries in a list, and refuses when told to."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.full = False
        self.closed = False

    def append(self, entry: Entry) -> None:
        if self.full:
            raise MatrixdocError("the disk is full")
        assert entry.number == len(self.entries) + 1
        self.entries.append(entry)

    def close(self) -> None:
        self.closed = True


def press_finding(one: str, *reads: str) -> Finding:
    return Finding(Situation(held=(one,)), Look("reads"), frozenset(reads))
