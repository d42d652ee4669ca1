"""Without a Chromium the journeys are skipped and say why; where CI is set they fail instead."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
A_JOURNEY = "tests/journeys/test_nurse.py::test_names_can_be_hidden_for_a_screen_that_others_see"


def run(tmp_path: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run one journey where no program is found on the path."""
    hidden = {"CI", "HVMON_CHROMIUM", "PYTEST_ADDOPTS", "PYTEST_XDIST_WORKER"}
    kept = {name: value for name, value in os.environ.items() if name not in hidden}
    command = [sys.executable, "-m", "pytest", A_JOURNEY, "-rsEf", "-p", "no:cacheprovider"]
    return subprocess.run(
        command,
        cwd=ROOT,
        env=kept | {"PATH": str(tmp_path)} | more,
        capture_output=True,
        text=True,
        check=False,
    )


def test_without_a_browser_a_journey_is_skipped_with_the_reason(tmp_path: Path):
    done = run(tmp_path)
    assert done.returncode == pytest.ExitCode.OK, done.stdout
    assert "1 skipped" in done.stdout
    assert "no Chromium on this machine (looked for: chromium" in done.stdout


def test_without_a_browser_a_journey_fails_in_ci(tmp_path: Path):
    done = run(tmp_path, CI="true")
    assert done.returncode == pytest.ExitCode.TESTS_FAILED, done.stdout
    assert "no Chromium on this machine" in done.stdout
    assert "skipped" not in done.stdout
