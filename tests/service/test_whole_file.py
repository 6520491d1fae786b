"""What a command writes is whole in its place, or is not there."""

from pathlib import Path

import pytest

from service.command_line.whole_file import whole_file, write_whole


def test_what_stops_half_way_leaves_the_file_of_before_and_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "round.csv"
    write_whole(path, "of before\n")

    def write_half() -> None:
        with whole_file(path) as file:
            file.write(b"half")
            raise ConnectionError

    with pytest.raises(ConnectionError):
        write_half()
    assert path.read_text() == "of before\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_text_is_written_as_it_is_whatever_the_machine_ends_its_lines_with(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.csv", "f\u00fcr\r\nund\n")
    assert (tmp_path / "a.csv").read_bytes() == b"f\xc3\xbcr\r\nund\n"
