"""Times in words, in whatever zone a shop has."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from django.utils.timezone import override
from hypothesis import given
from hypothesis import strategies as st

from shop.wording.times import rezoned, zoned

ZONES = [ZoneInfo("Asia/Kathmandu"), ZoneInfo("America/St_Johns"), UTC]
# Offsets of whole minutes: those of before 1970 had seconds, and no shop has records.
MOMENTS = st.datetimes(
    datetime(1980, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)
)


@given(MOMENTS, *[st.sampled_from(ZONES)] * 2, st.sampled_from(["minutes", "seconds"]))
def test_what_was_written_in_one_zone_reads_in_another_as_written_there(
    moment, before, now, timespec
):
    with override(before):
        written = zoned(moment, timespec)
    with override(now):
        assert rezoned(f"by Ann, {written}; and {written}") == (
            f"by Ann, {zoned(moment, timespec)}; and {zoned(moment, timespec)}"
        )


@pytest.mark.parametrize(
    "text",
    ["2026-13-40 10:00 +00:00", "0001-01-01 00:10 +05:00", "on 2026-11-30 10:00", ""],
)
def test_what_is_no_time_is_left_as_it_is(text):
    with override(timezone(-timedelta(hours=3))):
        assert rezoned(text) == text
