"""The bench's own readers: an event counts once it has come whole, however its bytes are cut."""

import zlib
from types import SimpleNamespace

import pytest

from tests.bench.crowd import Reader

HEAD = b"HTTP/1.1 200 OK\r\n\r\n"


def line(position):
    return b'data: {"position":%d,"leaf_sha256":"00"}\n\n' % position


@pytest.mark.parametrize("cut", [3, 20, len(line(7)) - 2])
def test_a_line_that_is_cut_counts_once_its_rest_has_come(cut):
    reader = Reader(SimpleNamespace(answered=lambda _: None, broke=pytest.fail), b"", close=True)
    squeezed = zlib.compressobj(wbits=zlib.MAX_WBITS | 16)

    def comes(content):
        piece = squeezed.compress(content) + squeezed.flush(zlib.Z_SYNC_FLUSH)
        reader.data_received(b"%x\r\n%b\r\n" % (len(piece), piece))

    reader.data_received(HEAD)
    comes(line(6) + line(7)[:cut])
    assert (reader.told, reader.position) == (1, 6)
    comes(line(7)[cut:])
    assert (reader.told, reader.position) == (2, 7)
