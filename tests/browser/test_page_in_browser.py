"""The phone page in a real browser, in short; all of it is checked by `tests/browser/run`."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(
    not (shutil.which("chromium") and shutil.which("chromedriver")),
    reason="no chromium and chromedriver here; tests/browser/run installs them and checks more",
)


@pytest.fixture(scope="module")
def check_page():
    path = Path(__file__).with_name("check_page.py")
    spec = importlib.util.spec_from_file_location("check_page", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_taps_answer_as_lath_at_does_and_the_console_is_silent(check_page, tmp_path, monkeypatch):
    monkeypatch.setattr(check_page, "TAPS", 2)
    check_page.lath("demo", str(tmp_path / "street"))
    (file,) = (tmp_path / "street" / "out").glob("*/day.html")
    wrong = []
    with check_page.browser() as page:
        page.open(file)
        check_page.check_taps(page, tmp_path / "street", wrong.append)
        check_page.check_keys(page, wrong.append)
        check_page.check_calm(page, [file], wrong.append)

    assert wrong == []
    # a phone without room still takes it (a bar of our own)
    assert file.stat().st_size < 1_000_000
