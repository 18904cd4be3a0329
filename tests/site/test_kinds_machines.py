"""Remote shell, sensors, upkeep."""

from linkfit.site.kinds_machines import REMOTE_SHELL, SENSORS, UPKEEP


def test_typing_needs_a_quarter_of_a_second_on_a_standing_connection():
    key = REMOTE_SHELL.task("key echo")
    assert (key.target_s, key.flow, key.fresh_connection) == (0.25, "both", False)


def test_upkeep_may_wait_and_has_no_users_to_count():
    assert not UPKEEP.needs_users
    assert not any(task.must_carry for task in UPKEEP.tasks)


def test_a_health_check_each_five_minutes_is_the_8_kb_of_common_practice():
    check = UPKEEP.task("health check from outside")
    assert check.per_user_day == 24 * 60 / 5
    # flow "both" moves the size each way
    assert 2 * check.size.median_bytes == 8e3


def test_a_sensor_reports_to_the_server():
    report = SENSORS.task("report")
    assert report.flow == "in"
    # 350 B a minute: 15 MB in 30 days, before headers
    assert 30 * report.per_user_day * report.size.median_bytes == 15.12e6
