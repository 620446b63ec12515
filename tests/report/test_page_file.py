"""A page that does not fit on the disk leaves no empty file behind."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.report import page


def test_a_page_that_cannot_be_written_leaves_none(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def full(self: Path, *args: object, **kwargs: object) -> int:
        self.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page, "render_page", lambda *args: "text")
    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OSError, match="No space"):
        page.write_page(tmp_path / "x.html", None, None, None)  # type: ignore[arg-type]
    assert not list(tmp_path.iterdir())
