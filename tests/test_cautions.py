"""Cautions once, where they apply; parts against ingress, temperature and area. Sources stand beside the checks."""

import csv
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install import cautions as module
from gearcase.install.cautions import (
    DEFERS,
    UNCLASSIFIED,
    Condition,
    Part,
    Site,
    Step,
    burn_threshold,
    cautions,
    ingress_suits,
    parse_area,
    unsuitable,
    why_not_in,
)
from gearcase.tables import load

TABLE = Path(module.__file__).parents[1] / "tables" / "cautions.csv"
some = st.sets(st.sampled_from(Condition))


@given(conditions=some)
def test_each_caution_stands_once_exactly_where_all_its_conditions_hold(conditions: set[Condition]) -> None:
    """Compared with the file read by the standard library alone."""
    with TABLE.open(encoding="utf-8", newline="") as stream:
        wanted = {
            row["id"]
            for row in csv.DictReader(stream)
            if all(word in [str(one) for one in conditions] for word in row["when"].split(" & ") if word)
        }
    found = cautions(conditions)
    assert {caution.id for caution in found} == wanted and len(found) == len(wanted)
    steps = [list(Step).index(caution.step) for caution in found]
    assert steps == sorted(steps)


@given(conditions=some, more=st.sampled_from(Condition))
def test_more_conditions_never_take_a_caution_away(conditions: set[Condition], more: Condition) -> None:
    assert {one.id for one in cautions(conditions)} <= {one.id for one in cautions(conditions | {more})}


def test_no_caution_repeats_another_and_every_condition_has_one() -> None:
    every = cautions(set(Condition))
    assert len(every) == len(load("cautions"))
    assert len({one.id for one in every}) == len({one.says for one in every}) == len(every)
    assert set().union(*(one.when for one in every)) == set(Condition)


def test_people_read_degrees_as_everywhere_else() -> None:
    told = [caution.says for caution in cautions(set(Condition))]
    assert any("°C" in says for says in told) and not [says for says in told if "degC" in says]


def test_isolation_stands_in_every_plan() -> None:
    always = cautions(set())
    assert {one.step for one in always} >= {Step.BEFORE, Step.ISOLATE, Step.START}
    assert any("prove it dead" in one.says and "lock out" in one.says for one in always)
    assert "Local code" in DEFERS and "licensed" in DEFERS


@pytest.mark.parametrize(
    ("conditions", "says"),
    [
        ({Condition.BACKSTOP}, "holds load torque"),
        ({Condition.CONVERTER}, "capacitors stay charged"),
        ({Condition.FAN}, "windmills"),
        ({Condition.COUNTERWEIGHT}, "stores energy"),
        ({Condition.PAINT_CUT, Condition.PAINTED}, "lead and chromate before"),
        ({Condition.METHACRYLATE}, "flammable, smells"),
        ({Condition.CLASSIFIED_AREA}, "tools, tablet, camera"),
        ({Condition.CLASSIFIED_AREA, Condition.DRILLING}, "void the certificate of the drive"),
        ({Condition.MAINS}, "licensed electrician only.*local code decides"),
        ({Condition.OIL_OPENED}, "is an oil change"),
        ({Condition.DRILLING}, "first smell or trace of oil"),
        ({Condition.DRILLING}, "No reading, no hole"),
        ({Condition.WASH_DOWN}, "drip loop"),
        ({Condition.HEIGHT}, "lanyards"),
        ({Condition.HOT_SURFACE}, "hot enough to burn"),
    ],
)
def test_what_the_trade_warns_of_is_there_and_only_then(conditions: set[Condition], says: str) -> None:
    """Trade rules: stored energy, oil, hot work, hazardous areas (handbook and common practice; ISO 80079-36/-37)."""
    assert sum(bool(re.search(says, one.says)) for one in cautions(conditions)) == 1
    without = set(Condition) - {sorted(conditions)[0]}
    assert not any(re.search(says, one.says) for one in cautions(without))


@pytest.mark.parametrize(("contact", "celsius"), [(1, 65), (60, 51), (600, 48), (8 * 3600, 43)])
def test_bare_metal_burns_from_the_standards_thresholds(contact: float, celsius: float) -> None:
    """ISO 13732-1:2006 (from memory): uncoated metal 65 to 70 degC at 1 s, 51 at 1 min, 48 at 10 min, 43 at 8 h."""
    assert burn_threshold(contact=contact) - 273.15 == pytest.approx(celsius)


@given(contact=st.floats(0.1, 1e5), longer=st.floats(1, 10))
def test_a_longer_touch_never_bears_more_heat(contact: float, longer: float) -> None:
    assert burn_threshold(contact=contact * longer) <= burn_threshold(contact=contact)


SUITS = [  # IEC 60529:2013 clauses 5 and 6 (from memory): to 6 the lower water digits are met; 7, 8 and 9 stand for themselves
    ("IP66", "IP65", True),
    ("IP65", "IP66", False),
    ("IP66", "IP54", True),
    ("IP54", "IP64", False),
    ("IP67", "IP66", False),
    ("IP67", "IP65", False),
    ("IP66/IP67", "IP66", True),
    ("IP66/IP67", "IP67", True),
    ("IP66/67", "IP67", True),
    ("IP68", "IP67", True),
    ("IP67", "IP68", False),
    ("IP69K", "IP67", False),
    ("IP69", "IP66", False),
    ("IP67/IP69K", "IP69", True),
    ("IP6X", "IP65", False),
    ("IP65", "IP6X", True),
    ("IP65", "IPX5", True),
    ("IPX5", "IP65", False),
    ("ip 66".replace(" ", ""), "IP66", True),
]


@pytest.mark.parametrize(("code", "wanted", "suits"), SUITS)
def test_ingress_codes_cover_what_the_standard_says(code: str, wanted: str, suits: bool) -> None:
    assert ingress_suits(code, wanted) is suits


@pytest.mark.parametrize("code", ["IP70", "66 K", "waterproof", "", "IP6", "IP66/"])
def test_what_is_no_ingress_code_is_refused(code: str) -> None:
    with pytest.raises(OutOfRange, match="written like IP66"):
        ingress_suits(code, "IP54")


COVERS = [
    # IEC 60079-0 and -14 (from memory): a lower zone covers the higher, IIC covers IIB covers IIA, T6 is the coolest
    ("zone 0 IIC T6", "zone 1 IIB T4", ""),
    ("zone 1 IIB T4", "zone 1 IIB T4", ""),
    ("zone 2 IIC T4", "zone 1 IIB T3", "is for zone 2, not zone 1"),
    ("zone 1 IIA T4", "zone 1 IIB T4", "lacks group B"),
    ("zone 1 T4", "zone 1 IIB T4", "lacks group B"),
    ("zone 1 IIC T3", "zone 1 IIB T4", "may reach 200 degC, 135 degC are allowed"),
    ("zone 1 IIC", "zone 1 IIB T4", "states no temperature class"),
    ("zone 1 IIC T4", "zone 21 IIIB T135", "is for gas, not dust"),
    ("zone 21 IIIC T85°C", "zone 22 IIIB T135", ""),
    ("zone 22 IIIB T135", "zone 21 IIIB T135", "is for zone 22, not zone 21"),
    ("zone 1 IIC T4", "zone 1", ""),
    # NEC 500 (from memory): division 1 covers division 2, groups are listed one by one
    ("class I division 1 groups A, B, C, D T4", "class I, division 2, group C T4", ""),
    ("class I division 2 group D T4", "class I division 1 group D T4", "is for division 2, not division 1"),
    ("class I division 1 groups C, D T4", "class I division 1 group B T4", "lacks group B"),
    ("class II division 1 group G T4", "class I division 1 group D T4", "is for class II, not class I"),
    ("class I division 1 group D T4", "zone 1 IIA T4", "is for divisions, the site is classed in zones"),
]


@pytest.mark.parametrize(("certificate", "area", "reason"), COVERS)
def test_a_certificate_covers_an_area_as_the_standards_say(certificate: str, area: str, reason: str) -> None:
    found = why_not_in(parse_area(certificate), parse_area(area))
    assert (reason in found) if reason else found == ""


@pytest.mark.parametrize("mark", ["T1", "T2", "T3", "T4", "T5", "T6"])
def test_temperature_classes_are_the_standards(mark: str) -> None:
    """IEC 60079-0 (from memory): 450, 300, 200, 135, 100, 85 degC."""
    limit = {"T1": 450, "T2": 300, "T3": 200, "T4": 135, "T5": 100, "T6": 85}[mark]
    assert parse_area(f"zone 1 IIC {mark}").hottest == pytest.approx(limit + 273.15)


@pytest.mark.parametrize(
    "text", ["", "zone 3", "zone 1 IIIC", "zone 21 IIB", "zone 1 IIC T7", "division 1", "class IV division 1", "safe"]
)
def test_what_is_no_area_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange, match="written like"):
        parse_area(text)


SITE = Site(263.15, 313.15, 353.15, "IP66", "zone 2 IIB T4")
PART = Part("sensor", "IP66/IP67", 233.15, 378.15, ("zone 2 IIC T4", "zone 22 IIIC T135"), on_housing=True)


def test_a_part_for_the_place_has_no_findings() -> None:
    assert unsuitable(PART, SITE) == ()


@pytest.mark.parametrize(
    ("part", "site", "level", "rule", "says"),
    [
        (
            Part("s", "IP54", 233, 400, PART.certificates),
            SITE,
            "blocker",
            "part.ingress",
            "IP54, the site wants IP66: another part",
        ),
        (Part("s", "", 233, 400, PART.certificates), SITE, "caution", "part.ingress", "unknown, the site wants IP66"),
        (Part("s", "splash", 233, 400, PART.certificates), SITE, "blocker", "part.ingress", "'splash' cannot be read"),
        (PART, Site(263, 313, 353, "", UNCLASSIFIED), "caution", "part.ingress", "how the place is cleaned"),
        (PART, Site(263, 313, 393.15, "IP66", UNCLASSIFIED), "blocker", "part.temperature", "120 degC there, it bears 105 degC: "),
        (PART, Site(223.15, 313, 353, "IP66", UNCLASSIFIED), "blocker", "part.temperature", "-50 degC there, it bears -40 degC: "),
        (PART, Site(263, 313, None, "IP66", UNCLASSIFIED), "caution", "part.temperature", "nobody has measured: measure it"),
        (
            Part("tablet", "IP66", 253, 333),
            SITE,
            "blocker",
            "part.area",
            "no certificate; the site is zone 2 IIB T4: a part certified",
        ),
        (
            PART,
            Site(263, 313, 353, "IP66", "zone 1 IIB T4"),
            "blocker",
            "part.area",
            "is for zone 2, not zone 1; zone 22 .* is for dust",
        ),
        (PART, Site(263, 313, 353, "IP66", ""), "blocker", "part.area", "area class unknown: ask the owner"),
        (PART, Site(263, 313, 353, "IP66", "explosive"), "blocker", "part.area", "area 'explosive' cannot be read"),
        (Part("s", "IP66", 233, 400, ("yes",)), SITE, "blocker", "part.area", "yes cannot be read"),
    ],
)
def test_a_part_for_elsewhere_is_found_with_its_number_and_cure(part: Part, site: Site, level: str, rule: str, says: str) -> None:
    (finding,) = unsuitable(part, site)
    assert (finding.level, finding.rule, finding.where) == (Level(level), rule, part.name)
    assert re.search(says, finding.says)


def test_a_part_in_a_cabinet_does_not_meet_the_housings_heat() -> None:
    assert unsuitable(Part("light", "IP66", 233, 333), Site(263, 313, 393, "IP66", UNCLASSIFIED)) == ()
