"""Truth from closed form, held against both engines and against mutants of the code, which must fail."""

import sys
from importlib.util import find_spec, module_from_spec, spec_from_loader
from pathlib import Path

import pytest

from hvmon.nights import compiled, counting

NIGHT_NAMES = [
    "square dips",
    "dips of exactly 10 s",
    "dips of 9 s",
    "falls of exactly 3.0",
    "falls of 2.9",
    "recovery to exactly 1.0 below",
    "re-dips",
    "plateau at exactly 88",
    "dips inside a plateau",
    "an hour at exactly 90",
    "299 and 300 s at 88",
    "gaps of 10 s inside dips",
    "gaps of 11 s inside dips",
    "spikes of 3 s",
    "the allowance grows with time",
    "values out of range",
    "a ramp below 50",
    "one high sample is no reference",
    "crowded dips",
    "an event cut off by the end",
    "an event cut off too early",
    "a staircase of 1 % a minute",
    "square wave of 12 s",
]


@pytest.mark.parametrize("engine", [counting, compiled], ids=["numpy", "compiled"])
@pytest.mark.parametrize("name", NIGHT_NAMES)
def test_a_night_in_closed_form_is_counted_as_worked_out_by_hand(truth, engine, name):
    (night,) = (each for each in truth.all_nights() if each.name == name)
    assert truth.wrong(night, engine.count_oximetry(night.spo2, None).counts) == {}


def test_every_closed_form_night_is_among_the_tests(truth):
    assert [night.name for night in truth.all_nights()] == NIGHT_NAMES


# Name, module, text of the code, text of the mutant.
MUTANTS = (
    ("events of 9 s count", "conventions", "SHORTEST_EVENT_S: Final = 10", "SHORTEST_EVENT_S: Final = 9"),
    ("events need 11 s", "conventions", "SHORTEST_EVENT_S: Final = 10", "SHORTEST_EVENT_S: Final = 11"),
    (
        "a fall must exceed the drop",
        "dips",
        "found.number <= found.total - drop * found.number",
        "found.number < found.total - drop * found.number",
    ),
    ("short gaps are not bridged", "conventions", "BRIDGED_GAP_S: Final = 10", "BRIDGED_GAP_S: Final = 0"),
    ("gaps of 11 s are bridged", "conventions", "BRIDGED_GAP_S: Final = 10", "BRIDGED_GAP_S: Final = 11"),
    ("no rule after a gap", "dips", "if since is None or", "if True or since is None or"),
    ("no 120 s rule", "conventions", "STEP_DOWN_S: Final = 120", "STEP_DOWN_S: Final = 10**6"),
    (
        "no slew gate",
        "validity",
        "kept = np.ones(len(at), dtype=np.bool_)",
        "return np.ones(len(at), dtype=np.bool_)",
    ),
    (
        "a slew gate against the neighbour",
        "validity",
        "last, j = jump - 1, jump",
        "kept[jump] = False; continue",
    ),
    (
        "an allowance that does not grow",
        "validity",
        "step * max(int(at[j] - at[last]), per_s)",
        "step * per_s",
    ),
    ("a mean as reference", "conventions", "REFERENCE_SHARE: Final = 5", "REFERENCE_SHARE: Final = 1"),
    ("values from 40 are valid", "conventions", "LOWEST_SPO2: Final = 500", "LOWEST_SPO2: Final = 400"),
    ("values above 100 are valid", "conventions", "HIGHEST_SPO2: Final = 1000", "HIGHEST_SPO2: Final = 1010"),
    ("a reference of one sample", "conventions", "REFERENCE_SHARE: Final = 5", "REFERENCE_SHARE: Final = 60"),
    ("no re-dips", "dips", "if value <= re_dip:", "if False and value <= re_dip:"),
    ("full recovery asked for", "conventions", "RECOVERY: Final = 10", "RECOVERY: Final = 0"),
    ("T90 includes 90", "conventions", "BELOW_90: Final = 900", "BELOW_90: Final = 901"),
    ("88 excluded from five minutes", "counting", "spo2_tenths <= AT_MOST_88", "spo2_tenths < AT_MOST_88"),
    ("299 s are sustained", "conventions", "SUSTAINED_S: Final = 300", "SUSTAINED_S: Final = 299"),
    ("events cut off by the end are lost", "dips", "self.t[last] + 1, Close.END", "onset, Close.END"),
)

ROOM = ("conventions", "validity", "dips", "pulse", "counting")


def mutated_counting(module, old, new):
    """The counting module with one text replaced in one module, loaded beside the real room."""
    room = Path(find_spec("hvmon.nights").submodule_search_locations[0])
    texts = {name: (room / f"{name}.py").read_text() for name in ROOM}
    assert texts[module].count(old) == 1, (
        f"the text to be mutated is no longer unique in {module}.py: {old!r}"
    )
    texts[module] = texts[module].replace(old, new)
    loaded = None
    try:
        for name in ROOM:
            loaded = module_from_spec(spec_from_loader(f"mutant_nights.{name}", loader=None))
            sys.modules[loaded.__name__] = loaded
            code = texts[name].replace("from hvmon.nights.", "from mutant_nights.")
            exec(compile(code, f"{name}.py (mutant)", "exec"), loaded.__dict__)  # noqa: S102
    finally:
        for name in ROOM:
            sys.modules.pop(f"mutant_nights.{name}", None)
    return loaded


@pytest.fixture
def _room_for_mutants():
    sys.modules["mutant_nights"] = module_from_spec(spec_from_loader("mutant_nights", None, is_package=True))
    yield
    del sys.modules["mutant_nights"]


@pytest.mark.usefixtures("_room_for_mutants")
@pytest.mark.parametrize(("name", "module", "old", "new"), MUTANTS, ids=[each[0] for each in MUTANTS])
def test_each_mutant_of_the_code_is_caught_by_a_closed_form_night(truth, name, module, old, new):
    mutant = mutated_counting(module, old, new)
    caught = [
        night.name
        for night in truth.all_nights()
        if truth.wrong(night, mutant.count_oximetry(night.spo2, None).counts)
    ]
    assert caught, f"no closed-form night tells the mutant {name!r} from the code"


@pytest.mark.usefixtures("_room_for_mutants")
def test_the_unchanged_code_loaded_the_same_way_passes_every_night(truth):
    twin = mutated_counting("conventions", "RECOVERY: Final = 10", "RECOVERY: Final = 10")
    assert all(
        not truth.wrong(night, twin.count_oximetry(night.spo2, None).counts) for night in truth.all_nights()
    )
