import hashlib
import io

import pymupdf
import pytest
from paper_plan import Wish, make_test_plan
from PIL import Image

from standfall.findings import FileFault
from standfall.papers import lay_sheets, paper_folder, write_papers

WISH = Wish(columns=24, rows=12, camera=True)
NAMES = [
    "preview_standing.png",
    "preview_fallen.png",
    "camera_standing.png",
    "camera_fallen.png",
    "shopping_list.pdf",
    "lay_sheets.pdf",
]


@pytest.fixture(autouse=True)
def small_pictures(monkeypatch):
    """Previews of the usual size take seconds; what is tested here is the folder."""
    preview, view = paper_folder.draw_preview, paper_folder.draw_camera_view
    monkeypatch.setattr(paper_folder, "draw_preview", lambda plan, state: preview(plan, state, 400))
    monkeypatch.setattr(paper_folder, "draw_camera_view", lambda plan, state: view(plan, state, 300))


def digests(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def test_all_papers_are_written_whole_and_progress_is_told(tmp_path):
    told = []
    written = write_papers(make_test_plan(WISH), tmp_path / "new" / "papers", lambda *step: told.append(step))
    assert [path.name for path in written] == NAMES
    assert sorted(path.name for path in (tmp_path / "new" / "papers").iterdir()) == sorted(NAMES)
    for path in written:
        if path.suffix == ".png":
            Image.open(io.BytesIO(path.read_bytes())).verify()
        else:
            assert len(pymupdf.open(path)) >= 1
    assert [done for done, _, _ in told] == sorted(done for done, _, _ in told)
    assert told[0][:2] == (0, 6)
    assert told[-1] == (6, 6, "papers written")


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    write_papers(make_test_plan(WISH), tmp_path / "one")
    write_papers(make_test_plan(WISH), tmp_path / "two")
    assert digests(tmp_path / "one") == digests(tmp_path / "two")


def test_volumes_and_what_an_earlier_plan_left(tmp_path, monkeypatch):
    full = lay_sheets.make_lay_book
    monkeypatch.setattr(paper_folder, "make_lay_book", lambda plan: full(plan, volume_pages=3))
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "lay_sheets_old.pdf").write_text("mine, too")
    written = write_papers(make_test_plan(Wish(columns=24, rows=12)), tmp_path)
    volumes = [path.name for path in written if path.name.startswith("lay_sheets")]
    assert volumes == [f"lay_sheets_{n}.pdf" for n in range(1, len(volumes) + 1)]
    assert len(volumes) > 1
    monkeypatch.setattr(paper_folder, "make_lay_book", full)
    write_papers(make_test_plan(WISH), tmp_path)
    assert sorted(digests(tmp_path)) == sorted([*NAMES, "notes.txt", "lay_sheets_old.pdf"])
    write_papers(make_test_plan(Wish(columns=24, rows=12)), tmp_path)
    assert "camera_standing.png" not in digests(tmp_path)


@pytest.mark.parametrize("stop_at", range(6))
def test_ctrl_c_between_files_leaves_whole_files_only(tmp_path, stop_at):
    def stop(done, total, what):
        if done == stop_at:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_papers(make_test_plan(WISH), tmp_path, stop)
    assert sorted(digests(tmp_path)) == sorted(NAMES[:stop_at])


def test_ctrl_c_while_typesetting_leaves_no_temporary_folder(tmp_path, monkeypatch):
    from standfall.papers import typeset

    monkeypatch.setattr(typeset.tempfile, "tempdir", str(tmp_path))

    def stop(root, template, tagged):
        assert any(tmp_path.iterdir())
        raise KeyboardInterrupt

    monkeypatch.setattr(typeset, "_compile", stop)
    with pytest.raises(KeyboardInterrupt):
        write_papers(make_test_plan(WISH), tmp_path / "papers")
    assert [path.name for path in tmp_path.iterdir()] == ["papers"]
    assert sorted(digests(tmp_path / "papers")) == sorted(NAMES[:4])


def test_a_folder_that_cannot_be_made_is_a_file_fault(tmp_path):
    (tmp_path / "papers").write_text("a file")
    with pytest.raises(FileFault, match="papers: cannot be made"):
        write_papers(make_test_plan(WISH), tmp_path / "papers")
