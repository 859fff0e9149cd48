"""No number or sentence of a bench moves unseen. Oracle: what was published when the net was made (`freeze.py`)."""

import pytest
from freeze import NET, net

KEPT = sorted(path.name for path in NET.glob("*.txt"))


@pytest.fixture(scope="module")
def now():
    return dict(net())


@pytest.mark.parametrize("name", KEPT)
def test_what_is_published_has_not_moved(now, name):
    assert now[name].splitlines() == (NET / name).read_text(encoding="utf-8").splitlines()


def test_the_net_holds_every_bench(now):
    assert sorted(now) == KEPT
