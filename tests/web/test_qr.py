"""The picture for a phone's camera, read by a reader that is not its maker's."""

import re

import pytest

from app.web.qr import INK, QUIET, for_terminal, half_blocks, picture
from tests.qr_reading import of_blocks, of_svg, read

ADDRESSES = [
    "http://10.0.0.7:8765/pair/0123456789abcdefghjk",
    "https://192.168.178.123:8765/pair/zyxwvtsrqpnmkjhgfedc",
    "https://192.168.178.123:8765/set-up/zyxwvtsrqpnmkjhgfedc",
    "https://a-rather-long-name-of-a-laptop.example:8765/pair/0123456789abcdefghjk",
]


@pytest.mark.parametrize("address", ADDRESSES)
def test_both_drawings_are_read_as_the_address(address: str) -> None:
    on_page, in_terminal = of_svg(picture(address)), of_blocks(half_blocks(address))

    assert read(on_page) == address
    assert read(in_terminal) == address


@pytest.mark.parametrize("address", ADDRESSES[:3])
def test_usual_address_is_a_picture_of_few_squares(address: str) -> None:
    """240 CSS px for 41 squares: almost six for each, where four are asked for."""
    assert len(address) <= 60
    assert len(of_svg(picture(address))) <= 33 + 2 * QUIET


def test_reader_sees_a_wrong_square() -> None:
    """Inverted, or with half of it gone, it is not read: so the tests can fail."""
    dark = of_svg(picture(ADDRESSES[0]))
    torn = dark.copy()
    torn[: len(torn) // 2] = False

    assert read(torn) == ""


def test_page_shows_dark_on_light_without_any_style() -> None:
    svg = str(picture(ADDRESSES[0]))
    dark = of_svg(svg)

    assert "style" not in svg
    assert re.search(r'<path fill="#fff" d="M0 0h', svg)
    edge = [dark[:QUIET], dark[-QUIET:], dark[:, :QUIET], dark[:, -QUIET:]]
    assert not any(side.any() for side in edge)


def test_terminal_is_told_its_colours() -> None:
    lines = for_terminal(ADDRESSES[0])

    assert all(line.startswith(INK) and line.endswith("\x1b[0m") for line in lines)
