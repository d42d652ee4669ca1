"""Makes the fixture store of a released schema; run once for each, never again for an old one.

python -m tests.store.make_fixture tests/store/fixtures/v0001.sqlite
"""

import sys
from datetime import date, timedelta
from pathlib import Path

import samples
from samples import BERT, BY

from hvmon.store.store import Store


def make(path):
    """Fill a new store with every kind of change."""
    with Store.open(path, create=True) as store:
        samples.with_anna(store)
        store.save_all(
            [samples.person(BERT), samples.identity(BERT, "00456", "Bert Invented", "S-2")],
            request_id="bert",
            **BY,
        )
        held = store.save(samples.weight("71.5"), request_id="w1", **BY).held
        store.correct(
            held.record_id,
            samples.weight("71.50", date(2026, 1, 1)),
            expect_version=1,
            reason="the date was wrong",
            request_id="c1",
            **BY,
        )
        gas = store.save(samples.gas(), request_id="g1", **BY).held
        store.withdraw(gas.record_id, expect_version=1, reason="another person", request_id="x1", **BY)
        nights = [samples.weight("70", date(2026, 2, 1) + timedelta(days=count)) for count in range(30)]
        store.save_many(nights, request_id="bulk", **BY)


if __name__ == "__main__":
    make(Path(sys.argv[1]))
