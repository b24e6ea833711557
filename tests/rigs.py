"""Rig files for tests: what is alike in all of them stands here once."""

BOARD = '[board]\nport = "/dev/null"'


def rig_text(table=BOARD, channels=("hands", "saddle", "tilt"), *, name="test jig"):
    """A rig file with this table for its link. channels: their names, or {name: role} where these differ."""
    roles = channels if isinstance(channels, dict) else {channel: channel for channel in channels}
    listed = "".join(f'[[channels]]\nname = "{channel}"\nrole = "{role}"\n' for channel, role in roles.items())
    geometry = "[geometry]\nbar_x_m = 0.57\nbar_y_m = 0.66\nsaddle_y_m = 0.70\n"
    return f'name = "{name}"\n{table.strip()}\n{listed}{geometry}'


GOOD = rig_text('[board]\nport = "/dev/ttyACM0"')
