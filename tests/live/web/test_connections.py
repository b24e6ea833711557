"""Who makes room when there are too many connections."""

from dataclasses import dataclass

from daq.live.web.access import Role
from daq.live.web.connections import MOST, MOST_WITHOUT_PASS, one_too_many


@dataclass
class Holding:
    """A connection as far as it is looked at here."""

    address: str
    role: Role | None = None


def test_nobody_goes_while_there_is_room():
    held = [Holding("a", Role.RUN)] * (MOST - MOST_WITHOUT_PASS) + [Holding("b")] * MOST_WITHOUT_PASS

    assert one_too_many(held) is None


def test_of_those_without_a_pass_the_oldest_of_the_greediest_address_goes():
    calm = [Holding("127.0.0.1") for _ in range(3)]
    greedy = [Holding("10.0.0.9") for _ in range(MOST_WITHOUT_PASS - 2)]
    passes = [Holding("10.0.0.9", Role.RUN) for _ in range(50)]

    assert one_too_many([*passes, *calm, *greedy]) is greedy[0]


def test_this_machine_itself_is_no_exception():
    held = [Holding("127.0.0.1") for _ in range(MOST_WITHOUT_PASS + 1)]

    assert one_too_many(held) is held[0]


def test_a_riders_goes_before_a_fitters():
    riders = [Holding("10.0.0.7", Role.RIDE) for _ in range(2)]
    fitters = [Holding("10.0.0.8", Role.RUN) for _ in range(MOST)]

    assert one_too_many([*fitters, *riders]) is riders[0]
    assert one_too_many(fitters) is None
    assert one_too_many([*fitters, fitters[0]]) is fitters[0]
