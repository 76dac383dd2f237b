//! The rules, a folder a family and a file a rule. The list below is the catalogue: a line in it
//! registers a rule.

use crate::rule::Rule;

/// Declares the modules of all rules and lists their declarations.
macro_rules! families {
    ($($family:ident { $($rule:ident),+ $(,)? })+) => {
        $(pub(crate) mod $family { $(pub(crate) mod $rule;)+ })+
        /// Every rule, in the order of the catalogue.
        pub(crate) static CATALOGUE: &[&Rule] = &[$($(&$family::$rule::RULE),+),+];
    };
}

families! {
    distance {
        distance_decreases, distance_negative, decimal_slip, observation_past_run_end,
        start_missing, finish_missing, outcome_contradicts_rows, stopped_without_reason,
        surveyed_missing, surveyed_contradicts_finish, run_longer_than_pipe, run_slightly_longer_than_pipe, run_shorter_than_pipe, length_unit_suspect,
        counter_missing, counter_not_zeroed, counter_reset, counter_drift, camera_speed,
        reverse_mismatch, reverse_gap, reverse_overlap,
        distance_drift,
        distance_drift_on_map,
        run_gap,
        pipe_partly_surveyed,
        met_run_missing,
        reverse_of_missing,
        reverse_run_too_early,
        end_row_misplaced,
        joint_spacing_irregular,
        cable_shorter_than_run,
        counter_offset_contradicts,
        overlap_undeclared,
        lateral_partly_surveyed,
        stop_reason_without_row,
        run_past_blockage,
        cable_end_implausible,
        joint_off_spacing,
    }
    stretch {
        stretch_unfinished, stretch_ends_before_start, stretch_zero_length, stretch_overlap, stretch_not_allowed,
        stretch_undeclared,
    }
    code {
        code_list_unknown, code_list_version, code_unknown, material_excludes_code, shape_excludes_code, joint_required, joint_impossible,
        characterisation_missing, characterisation_unknown, characterisation_unexpected,
        clock_required, clock_not_applicable, clock_range, clock_form, clock_extent, clock_full_circle,
        quantity_missing, quantity_unit, quantity_range, quantity_unexpected, water_level_jump,
        quantity_exceeds_pipe,
        clock_against_gravity, deformation_without_crack, lining_not_recorded, lining_hides_code,
        water_contradicts, dry_after_inflow, flow_control_contradicts, change_to_same, combined_code_fits,
        loss_too_large, nothing_observed,
        column_shifted, clock_column_suspect, percent_column_suspect, connection_unit_suspect,
    }
    grade {
        grade_missing, grade_outside_scale, grade_contradicts, grade_aspect_unexpected, grade_without_scheme, grade_scheme_unknown, grade_scheme_version,
        rating_contradicts, rating_duplicate, rating_outside_scale, worst_grade_without_photo,
        grade_column_suspect,
    }
    size {
        number_impossible, size_unit_suspect, size_implausible, width_missing, width_contradicts_shape, joint_spacing_implausible,
        length_implausible,
        size_not_nominal,
        material_newer_than_pipe,
        year_laid_implausible,
        connection_size_contradicts_lateral,
        pipe_size_odd,
        pipe_material_odd,
    }
    elevation {
        vertical_missing, invert_above_ground, depth_contradicts_elevations, depth_implausible, gradient_uphill,
        gradient_steep, invert_outside_structure,
        gradient_below_minimum,
    }
    place {
        crs_missing, crs_unknown, position_outside_area, position_near_area, coordinates_swapped, crs_unit_suspect, path_length_contradicts, path_end_mismatch,
        locates_too_far_apart, locate_past_run, locate_depth, transmitter_offset_missing,
        locate_off_path,
        locate_off_gradient,
        locate_frequency_contradicts,
        transmitter_offset_contradicts,
        locate_without_transmitter,
        locate_beyond_cable,
        locate_off_course,
        locate_depth_contradicts_structures,
        locate_depth_jump,
    }
    reference {
        unknown_pipe, unknown_structure, unknown_media, unknown_run, unknown_party, unknown_equipment,
    }
    identity {
        runs_missing, pipe_not_surveyed, structure_unconnected, structure_duplicate, asset_duplicate, id_case_clash,
        outfall_upstream, equipment_duplicate, pipe_ends, pipe_loop, pipe_duplicate, direction_contradicts, run_structure_mismatch, run_duplicate,
        run_copied,
        observation_duplicate,
        joins_impossible,
        launched_contradicts,
        connection_contradicts_lateral,
        method_contradicts_equipment,
        camera_does_not_fit,
        owner_contradicts_role,
        clock_not_mirrored,
        connection_differs_between_runs,
        lateral_connection_missing,
        rows_copied,
        values_repeated,
    }
    time {
        date_invalid, time_order, run_duration_implausible, date_in_future, issued_before_run, runs_concurrent,
        run_date_outlier,
        run_undated,
        calibration_old,
        calibration_after_run,
        year_laid_after_run,
        time_of_day_shifted,
        operator_concurrent,
    }
    files {
        file_missing, file_name_case, file_unreadable, file_damaged, file_wholeness_unknown,
        file_size_contradicts, file_digest_contradicts, file_type_contradicts, file_duration_contradicts, file_frame_rate_contradicts,
        file_shorter_than_offset, file_time_contradicts, file_rotation_contradicts, file_black,
        file_same_content, file_unnamed,
    }
    media {
        media_file_duplicate, media_case_clash, media_path_unportable, media_type_contradicts, media_unused,
        media_same_content, media_offset_past_end, media_offset_decreases, media_incomplete,
        media_distance_contradicts,
        media_run_contradicts,
        media_beyond_run,
        media_time_contradicts,
        media_kind_contradicts,
        recording_implausible,
        media_empty,
        offset_into_still,
        photo_note_without_photo,
        recording_run_contradicts,
        duration_contradicts_offsets,
        offset_unit_suspect,
        video_shorter_than_run,
        bit_rate_implausible,
    }
    review {
        review_incomplete, review_draft, review_date_implausible, revises_itself,
    }
    text {
        other_without_text, text_untrimmed,
        text_garbled,
        remark_contradicts_code,
    }
    profile {
        required_field_missing, forbidden_field_present, value_not_allowed, pattern_mismatch,
        run_media_missing, observation_media_missing, graded_media_missing,
        code_list_not_allowed, grade_scheme_not_allowed, unit_not_allowed, crs_not_allowed, vertical_not_allowed,
    }
}
