import os

import pytest

from standfall.disk import make_folder, remove_file, write_whole
from standfall.findings import FileFault


def test_the_file_is_there_whole_and_alone(tmp_path):
    write_whole(tmp_path / "a.pdf", b"one")
    write_whole(tmp_path / "a.pdf", b"two")
    assert (tmp_path / "a.pdf").read_bytes() == b"two"
    assert [path.name for path in tmp_path.iterdir()] == ["a.pdf"]


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_whatever_stops_it_the_old_file_stays_and_nothing_is_left_over(tmp_path, monkeypatch, stop):
    write_whole(tmp_path / "a.pdf", b"old")

    def fail(descriptor):
        raise stop

    monkeypatch.setattr(os, "fsync", fail)
    expected = FileFault if isinstance(stop, OSError) else KeyboardInterrupt
    with pytest.raises(expected) as caught:
        write_whole(tmp_path / "a.pdf", b"new and half done")
    if isinstance(stop, OSError):
        assert str(caught.value) == f"{tmp_path / 'a.pdf'}: cannot be written: the disk is full"
    assert (tmp_path / "a.pdf").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.pdf"]


def test_faults_name_the_file(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileFault, match=r"file: cannot be made"):
        make_folder(tmp_path / "file")
    with pytest.raises(FileFault, match=r"a.pdf: cannot be written"):
        write_whole(tmp_path / "nowhere" / "a.pdf", b"")
    (tmp_path / "folder").mkdir()
    with pytest.raises(FileFault, match=r"folder: cannot be removed"):
        remove_file(tmp_path / "folder")
    remove_file(tmp_path / "not there")
