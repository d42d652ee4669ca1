"""Is the person unwell now, and is the treatment received? Causes B1 to B3 and C1 to C5."""

from hvmon.records.settings import Program
from hvmon.rules.case import basis
from hvmon.rules.why_windows import (
    NOTHING,
    Pair,
    Weighed,
    event_words,
    events_in,
    joined,
    look_at_nights,
    missing,
    nightly_shift,
    settings_for,
    shift_words,
    speaks_against,
    supports,
)
from hvmon.vocabulary import (
    Circuit,
    EventKind,
    FilterKind,
    LeakKind,
    MedicineClass,
    NotRecorded,
    Rating,
)

SEDATING = {
    MedicineClass.OPIOID,
    MedicineClass.BENZODIAZEPINE,
    MedicineClass.GABAPENTINOID,
    MedicineClass.OTHER_SEDATIVE,
}
UNWELL = {EventKind.INFECTION, EventKind.ADMISSION, EventKind.ADMISSION_HYPERCAPNIC}
SPO2_STEP_PCT = 3
"""[percent] oximeter step worth naming (Project)."""
RATING_STEP = 2
"""Step of a 0 to 10 rating worth naming (Project)."""
GAP_NIGHTS = 3
"""Nights without a record in a window worth naming (Project)."""
TARGET_HIGH_PCT = 92
"""[percent] upper end of the usual oxygen target at risk of hypercapnia (ODriscoll2017)."""
PROGRAM_FIELDS = (
    "mode",
    "ipap_cmh2o",
    "epap_cmh2o",
    "tidal_volume_ml",
    "target_volume_ml",
    "backup_rate_min",
    "inspiratory_time_s",
)


def unwell(pair: Pair) -> Weighed:
    """B1: infection, exacerbation, oedema, embolism, pneumothorax."""
    return joined(
        (
            _events(pair, "infection or admission"),
            look_at_nights(pair, "rate", "/min", lambda n: n.rate_min, bad="up"),
            look_at_nights(pair, "use", "h", lambda n: n.usage_h, bad="up"),
            _oximeter(pair),
            _rating(pair, Rating.BREATHLESSNESS),
        )
    )


def _events(pair: Pair, what: str) -> Weighed:
    found = events_in(pair, UNWELL)
    if not found:
        return missing(f"no {what} is recorded in the four weeks before; whether there was one is not known")
    return joined(supports(event_words(held), basis(held, event_words(held))) for held in found)


def _oximeter(pair: Pair) -> Weighed:
    now, before = _spo2(pair, last=True), _spo2(pair, last=False)
    if now is None or before is None:
        return missing("oximeter beside both readings")
    words = f"SpO2 {now:g} %, before {before:g}"
    return supports(words) if now <= before - SPO2_STEP_PCT else speaks_against(words)


def _spo2(pair: Pair, *, last: bool) -> float | None:
    reading = pair.last if last else pair.previous
    held = reading.gas or reading.spot
    if held is not None and held.record.spo2_pct is not None:
        return float(held.record.spo2_pct)
    night = reading.night
    if night is not None and night.record.spo2_mean_pct is not None:
        return float(night.record.spo2_mean_pct)
    return None


def _rating(pair: Pair, which: Rating) -> Weighed:
    ratings = []
    for reading in (pair.last, pair.previous):
        near = [
            held.record.rating(which)
            for held in pair.dossier.symptom_report
            if reading.start <= held.record.asked_at.date() <= reading.day
        ]
        known = [value for value in near if value is not None]
        ratings.append(known[-1] if known else None)
    now, before = ratings
    if now is None or before is None:
        return missing(f"{which.value} in both windows")
    words = f"{which.value} {now}, before {before} (0 to 10)"
    return supports(words) if now >= before + RATING_STEP else speaks_against(words)


def sedatives(pair: Pair) -> Weighed:
    """B2: sedatives, opioids, alcohol, a new gabapentinoid, an anaesthetic."""
    started = [
        held
        for held in events_in(pair, {EventKind.MEDICINE_STARTED}, since_previous=True)
        if held.record.medicine_class in SEDATING
    ]
    alcohol = missing("alcohol, anaesthetics, and whether the list of medicines is complete")
    if not started:
        return missing("no sedating medicine is recorded as started between the readings") + alcohol
    return joined(supports(event_words(held), basis(held, event_words(held))) for held in started) + alcohol


def oxygen_excess(pair: Pair) -> Weighed:
    """B3: more oxygen than the target asks for."""
    return joined((_flow(pair), _above_target(pair), _oxygen_events(pair)))


def _flow(pair: Pair) -> Weighed:
    flows = []
    for reading in (pair.last, pair.previous):
        held = reading.gas or reading.spot
        flow = held.record.state.oxygen_l_min if held else None
        if reading.night is not None:
            flow = reading.night.record.oxygen_l_min
        flows.append(None if flow is None or isinstance(flow, NotRecorded) else flow)
    now, before = flows
    if now is None or before is None:
        return missing("oxygen flow at one of the readings")
    words = f"oxygen {now} L/min, before {before}"
    return supports(words) if now > before else speaks_against(words)


def _above_target(pair: Pair) -> Weighed:
    now = _spo2(pair, last=True)
    if now is None:
        return missing("oximeter beside the last reading")
    held = pair.last.gas or pair.last.spot
    on_oxygen = held.record.state.on_oxygen if held is not None else None
    if on_oxygen is None:
        return missing("whether oxygen was flowing")
    own = pair.dossier.person.spo2_target_high_pct
    high = TARGET_HIGH_PCT if own is None else own
    words = f"SpO2 {now:g} % {'on oxygen' if on_oxygen else 'on air'}; target up to {high} %"
    return supports(words) if on_oxygen and now > high else speaks_against(words)


def _oxygen_events(pair: Pair) -> Weighed:
    found = events_in(pair, {EventKind.OXYGEN_CHANGE}, since_previous=True)
    return joined(supports(event_words(held), basis(held, event_words(held))) for held in found)


def under_use(pair: Pair) -> Weighed:
    """C1: hours down, gaps, short nights."""
    return look_at_nights(pair, "use", "h", lambda n: n.usage_h, bad="down") + _gaps(pair)


def _gaps(pair: Pair) -> Weighed:
    nights = {held.record.night_of for held in pair.dossier.nightly_use}
    window = (pair.last.day - pair.last.start).days
    there = sum(1 for night in nights if pair.last.start <= night < pair.last.day)
    if there == 0:
        return missing("use in the four weeks before the last reading")
    unused = [
        held
        for held in pair.dossier.nightly_use
        if pair.last.start <= held.record.night_of < pair.last.day and held.record.usage_h == 0
    ]
    skipped = joined(
        (supports(f"{len(unused)} nights without use", basis(unused[-1], "a night without use")),)
        if unused
        else (speaks_against("no night with 0 h of use in the window"),)
    )
    lost = window - there
    return skipped + (missing(f"{lost} of {window} nights") if lost >= GAP_NIGHTS else NOTHING)


def leak(pair: Pair) -> Weighed:
    """C2: leak up, triggering poor, residual events up."""
    kinds = _leak_kinds(pair)
    if len(kinds) > 1:
        first = missing("leak of one kind in both windows: the kinds differ and are not comparable")
    elif not kinds:
        first = missing("leak and which leak it is")
    else:
        first = look_at_nights(pair, f"leak ({next(iter(kinds))})", "L/min", lambda n: n.leak_l_min, bad="up")
    events = look_at_nights(pair, "residual events", "/h", lambda n: n.residual_events_per_h, bad="up")
    return first + events + missing("mask age and fit, mouth, cuff")


def _leak_kinds(pair: Pair) -> set[LeakKind]:
    return {
        night.leak_kind
        for night in (held.record for held in pair.dossier.nightly_use)
        if night.leak_l_min is not None
        and night.leak_kind != LeakKind.NOT_RECORDED
        and (
            pair.last.start <= night.night_of < pair.last.day
            or pair.previous.start <= night.night_of < pair.previous.day
        )
    }


def circuit(pair: Pair) -> Weighed:
    """C3: wet or blocked filter, added dead space, a missing or blocked exhalation port, cracked tubing."""
    found = events_in(pair, {EventKind.EQUIPMENT}, since_previous=True)
    equipment = (
        joined(supports(event_words(held), basis(held, event_words(held))) for held in found)
        if found
        else missing("no change of equipment is recorded between the readings")
    )
    return joined((equipment, _circuit_settings(pair), _volume_without_change(pair), missing(
        "inspection of filter, port and tubing")))  # fmt: skip


def _circuit_settings(pair: Pair) -> Weighed:
    now, before = settings_for(pair, pair.last), settings_for(pair, pair.previous)
    if now is None or before is None:
        return missing("settings at one of the readings")
    one, other = now.program_1, before.program_1
    if Circuit.NOT_RECORDED in {one.circuit, other.circuit}:
        return missing("kind of circuit")
    parts = [
        f"{name} {new.value}, before {old.value}"
        for name, new, old in (
            ("circuit", one.circuit, other.circuit),
            ("filter", one.filter_kind, other.filter_kind),
        )
        if new != old
    ]
    if parts:
        return supports("; ".join(parts))
    passive = one.filter_kind == FilterKind.HEAT_MOISTURE
    kept = f"circuit and filter as before: {one.circuit.value}, {one.filter_kind.value}"
    return speaks_against(kept) + (missing("age of the heat and moisture exchanger") if passive else NOTHING)


def _volume_without_change(pair: Pair) -> Weighed:
    """Volume or minute ventilation moved although settings did not."""
    changed = settings_for(pair, pair.last) is not settings_for(pair, pair.previous)
    shift = nightly_shift(pair, lambda n: n.tidal_volume_ml)
    if shift is None:
        return missing("tidal volume in both windows")
    words = shift_words("tidal volume", "mL", shift)
    if changed:
        return speaks_against(f"{words}; settings changed between the readings", shift.last_basis)
    moved = shift.up or shift.down
    unchanged = f"{words}; settings unchanged"
    return supports(unchanged, shift.last_basis) if moved else speaks_against(unchanged, shift.last_basis)


def other_settings(pair: Pair) -> Weighed:
    """C4: wrong program or mode, settings changed and not recorded, a backup device with old settings."""
    read = [
        held
        for held in pair.dossier.settings_reading
        if pair.previous.day <= held.record.read_at.date() <= pair.last.day
    ]
    return _read_at_machine(pair, read[-1].record.program_1 if read else None) + _ordered_change(pair)


def _read_at_machine(pair: Pair, read: Program | None) -> Weighed:
    ordered = settings_for(pair, pair.last)
    if read is None or ordered is None:
        return missing("settings read at the machine between the readings")
    unlike = [
        f"{name} read {getattr(read, name)}, ordered {getattr(ordered.program_1, name)}"
        for name in PROGRAM_FIELDS
        if getattr(read, name) != getattr(ordered.program_1, name)
    ]
    return (
        supports("; ".join(unlike)) if unlike else speaks_against("settings read at the machine as ordered")
    )


def _ordered_change(pair: Pair) -> Weighed:
    now, before = settings_for(pair, pair.last), settings_for(pair, pair.previous)
    if now is None or before is None or now is before:
        return NOTHING
    return supports(f"settings were changed between the readings: {now.kind.value}, {now.why}")


def asynchrony(pair: Pair) -> Weighed:
    """C5: ineffective effort, auto-triggering, asynchrony."""
    share = look_at_nights(pair, "triggered breaths", "%", lambda n: n.triggered_pct, bad="either")
    return share + missing("asynchrony on a trace")


def use_and_leak_steady(pair: Pair) -> bool | None:
    """Say whether use did not fall and leak did not rise; None when not recorded."""
    use = nightly_shift(pair, lambda n: n.usage_h)
    lost = nightly_shift(pair, lambda n: n.leak_l_min)
    if use is None or lost is None:
        return None
    return not use.down and not lost.up
