"""The rules that this reader claims, with their severities."""
import rules_length as length
import rules_order as order
import rules_wall as wall


def camera_speed(survey):
    return order.camera_speed(survey, length.lengths_doubtful(survey), length.past_pipe(survey))


def joint_spacing_irregular(survey):
    return order.joint_spacing_irregular(survey, length.lengths_doubtful(survey))


def _named(module, **severities):
    return {name.replace("_", "-"): (severity, getattr(module, name)) for name, severity in severities.items()}


CLAIMED = {
    **_named(order, distance_decreases="error", distance_negative="error", decimal_slip="error", observation_past_run_end="error",
             start_missing="warning", finish_missing="warning", outcome_contradicts_rows="error",
             stopped_without_reason="warning", surveyed_missing="warning", surveyed_contradicts_finish="error",
             counter_missing="warning", counter_not_zeroed="warning", counter_reset="error",
             counter_drift="warning", counter_offset_contradicts="error", end_row_misplaced="error",
             cable_shorter_than_run="error"),
    **_named(length, run_longer_than_pipe="error", run_shorter_than_pipe="warning", reverse_mismatch="error",
             reverse_gap="warning", reverse_overlap="note", distance_drift="warning", run_gap="warning",
             pipe_partly_surveyed="note", met_run_missing="warning", reverse_of_missing="note", reverse_run_too_early="warning"),
    **_named(wall, stretch_unfinished="error", stretch_ends_before_start="error", stretch_zero_length="warning",
             stretch_overlap="warning", stretch_not_allowed="error", stretch_undeclared="warning",
             clock_required="error", clock_not_applicable="warning", clock_range="error", clock_form="error",
             clock_extent="warning", clock_full_circle="warning"),
    "camera-speed": ("warning", camera_speed),
    "joint-spacing-irregular": ("warning", joint_spacing_irregular),
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
