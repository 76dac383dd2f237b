"""The rules that this reader claims, with their severities."""
import rules_length as length
import rules_order as order
import rules_wall as wall


def camera_speed(survey):
    return order.camera_speed(survey, length.lengths_doubtful(survey), length.past_pipe(survey))


def joints_off_spacing(survey):
    return order.joints_off_spacing(survey, length.lengths_doubtful(survey))


def _named(module, **severities):
    return {name.replace("_", "-"): (severity, getattr(module, name)) for name, severity in severities.items()}


CLAIMED = {
    **_named(order, distance_falls="error", distance_negative="error", decimal_slip="error", past_run_end="error",
             start_missing="warning", finish_missing="warning", outcome_contradicts_rows="error",
             stopped_without_reason="warning", surveyed_missing="warning", surveyed_contradicts_finish="error",
             counter_missing="warning", counter_not_zeroed="warning", counter_zeroed_again="error",
             counter_drift="warning", counter_offset_contradicts="error", end_row_within_run="error",
             cable_shorter_than_run="error"),
    **_named(length, run_past_pipe="error", run_short_of_pipe="warning", reverse_mismatch="error",
             reverse_gap="warning", reverse_overlap="note", distance_drift="warning", run_gap="warning",
             pipe_part_unseen="note", met_nobody="warning", reverse_unnamed="note", reverse_before_first="warning"),
    **_named(wall, stretch_never_ends="error", stretch_ends_before_start="error", stretch_zero_length="warning",
             stretch_overlap="warning", stretch_not_allowed="error", stretch_undeclared="warning",
             clock_required="error", clock_meaningless="warning", clock_range="error", clock_form="error",
             clock_extent="warning", clock_full_circle="warning"),
    "camera-speed": ("warning", camera_speed),
    "joint-spacing-irregular": ("warning", joints_off_spacing),
    **{f"unknown-{name}": ("error", wall.unknown(table)) for name, table in {
        "pipe": "pipes", "structure": "structures", "media": "media", "run": "runs", "party": "parties",
        "equipment": "equipment"}.items()},
}


def check(survey):
    """(rule, pointer) of every finding, with its severity and facts."""
    found = {}
    for rule, (severity, run) in CLAIMED.items():
        for path, facts in run(survey):
            found[rule, path] = severity, facts
    return found
