"""A process that starts writers for the fault tests: it imports once and forks for each.

Each line of its input names a store, a file for acknowledgements, a name and a number of saves; it
answers with the writer's process id. A writer notes a save in its file only after the save returned.
"""

import os
import sys
from datetime import date, timedelta
from pathlib import Path

import samples
from samples import BY

from hvmon.store.store import Store


def write(store_path, acknowledged, name, saves):
    """Save, correct and withdraw until the number of saves is reached or somebody kills us."""
    notes = os.open(acknowledged, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    start = date(2000, 1, 1) + timedelta(days=2000 * int(name[1:]))
    with Store.open(store_path, busy_timeout_s=30) as store:
        for count in range(saves):
            weight = samples.weight(str(40 + count % 300), start + timedelta(days=count))
            gas = samples.gas(drawn_at=samples.NOW + timedelta(minutes=100_000 * int(name[1:]) + count))
            visit = store.save_all([weight, gas], request_id=f"{name}-{os.getpid()}-{count}", **BY)
            _acknowledge(notes, *(saved.held for saved in visit))
            if count % 3 == 0:
                _acknowledge(notes, _correct(store, visit[0].held, f"{name}-{os.getpid()}-{count}-c"))


def _correct(store, held, request_id):
    changed = held.record.model_copy(update={"estimated": not held.record.estimated})
    return store.correct(
        held.record_id, changed, expect_version=held.version, reason="slip", request_id=request_id, **BY
    )


def _acknowledge(notes, *several):
    for held in several:
        line = f"{held.record_id} {held.version} {held.record.model_dump_json()}\n"
        os.write(notes, line.encode())


def main():
    """Start a writer for each line of input."""
    for line in sys.stdin:
        store_path, acknowledged, name, saves = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            write(Path(store_path), acknowledged, name, int(saves))
            os._exit(0)
        sys.stdout.write(f"{child}\n")
        sys.stdout.flush()
        os.waitpid(child, 0)
        sys.stdout.write("ended\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
