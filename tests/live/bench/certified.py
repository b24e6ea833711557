"""A calibration made at the bench, to the certificate."""

import re

from daq.keep.store import Store, calibrations
from daq.live.bench.certificate_page import certificate_page
from tests.live.bench.simulated import on_bench, wanted, work_through


def certified(path, **changes):
    """The certificate of one cell calibrated with these changes, as content and as the text of its page."""

    async def work(made):
        await made.session.calibrating.begin_bench(wanted(cells=("hands_left",), series=2, **changes))
        await work_through(made)

    on_bench(path, work)
    with Store.open(path, write=False) as store:
        content = calibrations.certificate(store, calibrations.found(store, "2").id)
    return content, re.sub(r"<[^>]+>", " ", certificate_page(content))
