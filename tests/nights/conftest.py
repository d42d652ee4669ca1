import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest


def load(name):
    """Load a module that stands beside the tests."""
    spec = spec_from_file_location(f"nights_{name}", Path(__file__).with_name(f"{name}.py"))
    module = module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def plain():
    return load("plain_scorer")


@pytest.fixture(scope="session")
def truth():
    return load("truth_nights")
