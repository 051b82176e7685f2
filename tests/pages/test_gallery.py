"""The pictures of one run stay together however many processes make them."""

from __future__ import annotations

from pathlib import Path

from tests.pages.gallery import INDEX, folder_begin, index_write, picture_name


def test_a_second_process_of_a_run_keeps_what_the_first_has_made(tmp_path: Path) -> None:
    folder = tmp_path / "screenshots"
    folder_begin(folder, "run 1")
    (folder / "a.jpg").touch()
    folder_begin(folder, "run 1")
    assert (folder / "a.jpg").exists()
    folder_begin(folder, "run 2")
    assert not (folder / "a.jpg").exists()


def test_the_index_shows_every_picture_under_its_address(tmp_path: Path) -> None:
    folder = tmp_path / "screenshots"
    folder_begin(folder, "run")
    names = [
        picture_name("/series/{series}/plate/", "lead", "full") + ".print.jpg",
        picture_name("/", "sponsor", "full") + ".desktop-day.jpg",
    ]
    for name in names:
        (folder / name).touch()
    index_write(folder)
    text = (folder / INDEX).read_text(encoding="utf-8")
    assert "<h2>first-page</h2>" in text
    assert "<h2>series-series-plate</h2>" in text
    assert all(f'<img src="{name}"' in text for name in names)
