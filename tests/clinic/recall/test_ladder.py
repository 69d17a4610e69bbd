"""The ladder of tries from dates alone. Dates: worked by hand; the default steps are common practice, no source."""

from datetime import date, time, timedelta

from clinic.planning.defaults import first_ladder
from clinic.recall.ladder import Ladder, Try, ladder_of, next_try, working_day

OPERATED, TARGET, CLOSES = date(2025, 11, 24), date(2026, 11, 24), date(2027, 1, 23)  # a Tuesday; day 365 and 425
LADDER = ladder_of(first_ladder(), calls=3, close_after_days=60)


def following(today: date, *tries: Try, ladder: Ladder = LADDER, **dates):
    asked = {"performed_on": OPERATED, "target_on": TARGET, "closes_on": CLOSES, **dates}
    return next_try(ladder, **asked, tries=tries, today=today)


def called(on: date, **more) -> Try:
    return Try(on=on, called=True, reached=False, **more)


def test_the_invitation_comes_two_weeks_before_the_target():
    found = following(date(2026, 11, 1))

    assert (found.number, found.step.way, found.on) == (1, "message", date(2026, 11, 10))
    assert not found.is_due(date(2026, 11, 9))
    assert found.is_due(date(2026, 11, 10))


def test_each_try_takes_the_place_of_one_step_whatever_way_was_used():
    sent = Try(on=date(2026, 11, 10), called=False, reached=False)

    second = following(date(2026, 11, 24), sent)
    third = following(date(2026, 11, 24), sent, called(date(2026, 11, 24)))
    fourth = following(date(2026, 12, 1), sent, called(date(2026, 11, 24)), called(date(2026, 12, 1)))

    assert (second.step.way, second.on) == ("phone", date(2026, 11, 24))
    assert (third.step.way, third.on) == ("phone", date(2026, 12, 1))
    assert (fourth.step.way, fourth.step.with_link, fourth.on) == ("message", True, date(2026, 12, 8))


def test_a_second_call_says_at_which_hours_nobody_answered():
    found = following(
        date(2026, 11, 25), called(date(2026, 11, 20), at=time(10, 40)), called(date(2026, 11, 24), at=time(11, 5))
    )  # fmt: skip

    assert found.not_like == (time(10, 40), time(11, 5))


def test_a_try_that_is_late_moves_the_next_one_to_the_day_after():
    assert following(date(2026, 12, 20), called(date(2026, 12, 20))).on == date(2026, 12, 21)


def test_the_day_that_the_caller_named_goes_before_the_ladder():
    again = called(date(2026, 11, 10), again_on=date(2026, 12, 4))

    assert following(date(2026, 11, 11), again).on == date(2026, 12, 4)


def test_after_three_unanswered_calls_the_list_asks_about_closing():
    calls = [called(date(2026, 11, 24) + timedelta(days=7 * each)) for each in range(3)]

    assert not following(date(2026, 12, 8), *calls[:2]).asks_to_close
    assert following(date(2026, 12, 8), *calls).asks_to_close


def test_messages_are_no_calls_but_sixty_days_after_the_target_it_asks_all_the_same():
    sent = [Try(on=date(2026, 11, 10) + timedelta(days=each), called=False, reached=False) for each in range(5)]

    assert not following(date(2027, 1, 22), *sent).asks_to_close
    assert following(date(2027, 1, 23), *sent).asks_to_close  # 24 November + 60 days
    assert following(date(2027, 1, 22), *sent).step is None


def test_the_last_step_is_known_as_the_last():
    four = [called(date(2026, 11, 10) + timedelta(days=each)) for each in range(4)]

    assert following(date(2026, 12, 22), *four).is_last
    assert not following(date(2026, 12, 22), *four[:3]).is_last


def test_steps_before_the_operation_and_after_the_window_are_left_out():
    """First redress: target day 4, window day 1 to 10; of the ladder only the two calls fit."""
    dates = {"performed_on": date(2026, 11, 23), "target_on": date(2026, 11, 27), "closes_on": date(2026, 12, 3)}

    first = following(date(2026, 11, 25), **dates)
    second = following(date(2026, 11, 27), called(date(2026, 11, 27)), **dates)

    assert (first.step.way, first.on) == ("phone", date(2026, 11, 27))
    assert second.step is None


def test_a_step_on_a_weekend_waits_for_monday():
    assert working_day(date(2026, 11, 28)) == date(2026, 11, 30)
    assert working_day(date(2026, 11, 29)) == date(2026, 11, 30)
    assert working_day(date(2026, 11, 30)) == date(2026, 11, 30)


def test_no_steps_at_all_still_ask_about_closing():
    bare = Ladder((), calls=3, close_after_days=60)

    assert following(date(2027, 2, 1), ladder=bare).asks_to_close
    assert following(date(2026, 12, 1), ladder=bare).step is None
