"""Stores for the tests: empty, with one person, and on disk."""

import shutil

import pytest

from hvmon.store.store import Store
from tests.store import samples


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory):
    """Give an empty store file to copy."""
    path = tmp_path_factory.mktemp("empty") / "empty.sqlite"
    Store.open(path, create=True).close()
    return path


@pytest.fixture
def path(empty_file, tmp_path):
    """Give the path of a fresh store."""
    return shutil.copy(empty_file, tmp_path / "store.sqlite")


@pytest.fixture
def empty_store():
    """Give an empty store in memory."""
    with Store.in_memory() as store:
        yield store


@pytest.fixture
def store(empty_store):
    """Give a store in memory that knows one person."""
    return samples.with_anna(empty_store)


@pytest.fixture
def disk_store(path):
    """Give a store on disk that knows one person."""
    with Store.open(path) as store:
        yield samples.with_anna(store)
