"""What all tests share: a state folder of their own, one cache folder, and which of them are slow or long."""

import fcntl
import gc
import os
import shutil
from itertools import count, groupby
from pathlib import Path

import pytest
from hypothesis import settings

from wardexam import ready
from wardexam.cores import one_thread

one_thread(os.environ)  # as every command does; before numpy

# What is drawn is the same on every machine, or the gate would fail by chance; `.ci/matrix` draws anew each time
# (`--hypothesis-profile anew`).
settings.register_profile("same", derandomize=True, max_examples=30)
settings.register_profile("long", derandomize=True)
settings.register_profile("anew", derandomize=False, print_blob=True)
settings.load_profile("same")

HERE = Path(__file__).parent
pytest_plugins = ["tests.records.postgres.fixtures"]
_FOLDERS = count()  # of this process
MEMORY = Path("/dev/shm")  # where files lie in memory
ROOM = 1 << 30  # bytes of it that must be free
GARBAGE = 200_000  # objects made before it is looked for: with Python's 700 a seventh of all time goes there
gc.disable()  # while tests are collected, nothing is
# A disk takes a seventh of all time to find room for thousands of small files where others were.
if (
    MEMORY.is_dir()
    and not os.statvfs(MEMORY).f_flag & os.ST_NOEXEC  # programs are built and run there
    and shutil.disk_usage(MEMORY).free > ROOM
):
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

# Whole folders and modules that drive a terminal or the whole app, start processes, make faults on purpose or go
# through thousands of cases; `-m "not slow"` goes without them. A test in another module carries the mark itself.
SLOW = (
    "commands/test_arguments.py",
    "commands/test_edges.py",
    "commands/test_imports.py",
    "commands/test_localise.py",
    "commands/test_records.py",
    "commands/test_wording.py",
    "fhir/test_commands.py",
    "fhir/test_hostile.py",
    "fhir/test_resources.py",
    "fhir/test_round_trip.py",
    "governance/test_incident.py",
    "governance/test_research.py",
    "governance/test_switched_off_seen.py",
    "handbook/test_accuracy.py",
    "handbook/test_localisation.py",
    "handbook/test_presentations.py",
    "handbook/test_urgency_rules.py",
    "injury/test_two_ways.py",
    "injury/test_worksheet.py",
    "plain/test_conversation.py",
    "plain/test_outage.py",
    "practice/test_dialogue.py",
    "practice/test_drawing.py",
    "practice/test_first.py",
    "reasoning/test_calibration.py",
    "reasoning/test_mirror.py",
    "reasoning/test_one_weight.py",
    "reasoning/test_processors.py",
    "reasoning/test_structures.py",
    "reasoning/test_urgency_monotone.py",
    "records/postgres",
    "records/test_archive.py",
    "records/test_backup.py",
    "records/test_contract.py",
    "records/test_drafts.py",
    "records/test_erasure.py",
    "records/test_faults.py",
    "records/test_hostile.py",
    "records/test_outage.py",
    "terminal/pty",
    "terminal/test_again.py",
    "terminal/test_both.py",
    "terminal/test_clean.py",
    "terminal/test_emergencies.py",
    "terminal/test_far_times.py",
    "terminal/test_figure.py",
    "terminal/test_find.py",
    "terminal/test_first_minute.py",
    "terminal/test_golden.py",
    "terminal/test_history.py",
    "terminal/test_identity.py",
    "terminal/test_injury.py",
    "terminal/test_many.py",
    "terminal/test_one_meaning.py",
    "terminal/test_onset.py",
    "terminal/test_orders.py",
    "terminal/test_outage.py",
    "terminal/test_questions.py",
    "terminal/test_range.py",
    "terminal/test_reasons.py",
    "terminal/test_round.py",
    "terminal/test_screens.py",
    "terminal/test_selection.py",
    "terminal/test_small.py",
    "terminal/test_store_calls.py",
    "terminal/test_story.py",
    "terminal/test_textual_port.py",
    "terminal/test_top.py",
    "terminal/test_trouble.py",
    "terminal/test_urgent_line.py",
    "terminal/test_waiting.py",
    "test_built.py",
    "test_face.py",
    "test_ready.py",
    "test_shown.py",
    "test_signals.py",
    "test_walks.py",
)


# Of these so many cases, evenly spread over all, stand for the others, which are marked long.
STAND_FOR = {
    "commands/test_arguments.py::test_an_option_is_taken_only_where_it_acts": 5,
    "commands/test_arguments.py::test_what_only_reads_begins_no_ward": 6,
    "commands/test_edges.py::test_a_closed_output_is_one_line": 1,
    "commands/test_edges.py::test_a_full_output_is_one_line_and_exit_one": 1,
    "commands/test_edges.py::test_a_time_beyond_bounds_is_read_by_every_command": 3,
    "commands/test_edges.py::test_nothing_hidden_leaves_by_any_command": 4,
    "commands/test_imports.py::test_a_command_loads_only_what_it_uses": 4,
    "commands/test_localise.py::test_bad_input_is_one_line_on_stderr_and_exit_two": 7,
    "commands/test_settings.py::test_a_wrong_file_is_refused_in_one_line_and_no_ward_is_opened": 15,
    "commands/test_whose.py::test_every_way_of_naming_a_patient_means_the_same": 8,
    "exam/test_text.py::test_no_character_of_a_hidden_category_is_let_through": 1,
    "fhir/test_hostile.py::test_an_entry_that_is_not_ours_is_refused_by_its_place": 5,
    "fhir/test_resources.py::test_every_resource_is_valid": 1,
    "governance/test_switched_off_seen.py::test_every_screen_of_a_patient_says_so_on_its_second_line": 3,
    "governance/test_switched_off_seen.py::test_of_every_rule_the_list_has_room_for_it": 2,
    "handbook/test_accuracy.py::test_a_published_figure_is_met_or_the_row_says_why_not": 20,
    "handbook/test_condition_parts.py::test_each_part_of_a_condition_is_told_by_a_sample": 15,
    "handbook/test_first_reasons.py::test_the_reason_that_matters_is_said_first_at_its_level": 40,
    "handbook/test_territories.py::test_a_territory_is_as_urgent_as_guidance_says_and_its_action_is_seen_first": 20,
    "handbook/test_urgency_rules.py::test_a_rule_is_silent_where_nothing_that_fires_it_is_there": 20,
    "handbook/test_urgency_rules.py::test_a_rule_is_silent_where_one_thing_that_it_asks_for_is_missing": 40,
    "handbook/test_urgency_rules.py::test_each_item_of_a_rule_fires_it_with_all_that_it_asks_for": 60,
    "handbook/test_urgency_rules.py::test_two_rules_in_one_patient_are_no_calmer_than_the_graver_of_them": 1,
    "injury/test_cases.py::test_the_second_way_agrees_with_the_case": 10,
    "injury/test_two_ways.py::test_both_ways_agree_on_a_thousand_sheets": 1,
    "note/test_demo_notes.py::test_change_and_impression_stand_by_line_6": 6,
    "note/test_demo_notes.py::test_findings_come_in_their_order_before_what_was_answered_long_ago": 6,
    "note/test_demo_notes.py::test_no_code_of_the_screen_reaches_the_chart": 6,
    "note/test_demo_notes.py::test_of_every_rule_level_deadline_and_first_step_fit_the_first_lines": 120,
    "note/test_demo_notes.py::test_who_urgency_action_and_deadline_stand_in_lines_1_to_3": 6,
    "note/test_note.py::test_nothing_not_examined_is_implied": 2,
    "plain/test_conversation.py::test_no_word_is_broken_at_the_end_of_a_line": 1,
    "practice/test_dialogue.py::test_leaving_within_an_answer_says_that_it_is_dropped": 1,
    "practice/test_dialogue.py::test_what_is_typed_is_understood": 3,
    "practice/test_drawing.py::test_a_seed_gives_the_same_patient_again": 1,
    "practice/test_drawing.py::test_what_is_shown_follows_the_models_chances": 2,
    "reasoning/test_claims.py::test_no_site_of_a_published_sheet_claims_more_than_it_holds": 20,
    "reasoning/test_contradictions.py::test_the_tools_own_alarm_is_the_graver_of_with_and_without": 9,
    "reasoning/test_mirror.py::test_every_field_of_a_reading_mirrors": 1,
    "reasoning/test_one_weight.py::test_a_level_is_read_whatever_skin_is_told_below_it": 15,
    "reasoning/test_one_weight.py::test_a_statement_added_to_any_sheet_moves_it_towards_its_signs_found_normal": 1,
    "reasoning/test_one_weight.py::test_the_same_in_other_words_reads_the_same": 1,
    "reasoning/test_standing.py::test_a_reason_of_old_signs_is_left_out_beside_one_as_grave_alone_so_that_no_level_falls": 1,
    "reasoning/test_switched_off.py::test_whichever_it_is_it_is_said_and_not_counted_and_every_other_stands": 60,
    "records/postgres/test_commands.py::test_a_folder_loads_nothing_of_a_server": 2,
    "records/postgres/test_commands.py::test_a_paper_is_the_same_from_a_folder_and_a_server": 6,
    "records/test_backup.py::test_a_backup_that_was_changed_is_refused_even_with_an_end_that_fits": 8,
    "records/test_faults.py::test_every_writing_call_may_fail": 1,
    "records/test_layout.py::test_a_pipe_in_the_place_of_a_file_is_refused_at_once": 1,
    "records/test_outage.py::test_a_save_that_waits_arrives_once_wherever_the_store_is_lost": 45,
    "review/test_year.py::test_the_year_is_a_year": 1,
    "terminal/pty/test_bursts.py::test_a_paste_into_a_search_goes_nowhere_and_grades_nothing": 1,
    "terminal/pty/test_bursts.py::test_an_unbracketed_paste_with_line_breaks_is_text_of_the_question": 1,
    "terminal/pty/test_bursts.py::test_keys_typed_before_the_first_paint_are_not_lost": 1,
    "terminal/pty/test_emergencies_blind.py::test_it_still_stands_there_when_every_item_is_entered": 1,
    "terminal/pty/test_emergencies_blind.py::test_the_first_action_and_its_time_stand_there_within_fifteen_keys": 2,
    "terminal/pty/test_emergencies_blind.py::test_the_handover_says_it": 1,
    "terminal/pty/test_emergencies_blind.py::test_the_line_mode_says_it": 2,
    "terminal/pty/test_emergencies_blind.py::test_the_list_of_beds_gives_the_measure_that_the_handover_begins_with": 2,
    "terminal/pty/test_emergencies_blind.py::test_the_note_begins_with_it": 2,
    "terminal/pty/test_emergencies_blind.py::test_the_reasons_show_image_and_call": 1,
    "terminal/pty/test_emergencies_blind.py::test_the_screen_and_the_reasons_begin_with_the_same_measure": 1,
    "terminal/pty/test_plain_screen.py::test_enter_ctrl_d_and_ctrl_c_go_back_to_the_note_and_the_print_is_recorded": 1,
    "terminal/pty/test_practice.py::test_leaving_within_an_answer_by_a_key_says_that_it_is_dropped": 1,
    "terminal/pty/test_terms.py::test_a_person_sees_the_ward_the_grid_the_panel_and_the_note": 1,
    "terminal/pty/test_walk.py::test_whatever_ends_it_the_draft_is_offered_on_the_next_start": 1,
    "terminal/pty/test_whole.py::test_every_end_comes_within_the_second_with_the_draft_kept": 1,
    "terminal/test_again.py::test_where_there_is_no_earlier_grade_it_says_so_and_enters_nothing": 1,
    "terminal/test_both.py::test_any_move_part_question_or_flag_page_ends_it": 2,
    "terminal/test_clean.py::test_nothing_hidden_is_drawn_on_any_screen": 1,
    "terminal/test_emergencies.py::test_it_is_recognised_and_answered_within_fifteen_keys": 2,
    "terminal/test_far_times.py::test_a_time_beyond_bounds_is_shown_on_every_screen": 2,
    "terminal/test_find.py::test_a_numb_s1_takes_at_most_eight_keys_from_anywhere": 1,
    "terminal/test_find.py::test_a_search_stays_on_the_side_that_is_worked_at_and_says_it": 2,
    "terminal/test_find.py::test_a_sign_and_a_question_that_begin_alike_are_offered_before_one_is_taken": 1,
    "terminal/test_find.py::test_no_name_is_cut_at_eighty_columns": 3,
    "terminal/test_first_minute.py::test_a_first_examination_opens_on_the_signs_of_the_complaint": 2,
    "terminal/test_identity.py::test_at_80_columns_the_heading_of_an_examination_keeps_age_and_count": 2,
    "terminal/test_identity.py::test_every_paper_names_a_patient_by_two_identifiers": 20,
    "terminal/test_identity.py::test_every_screen_of_a_patient_is_headed_by_two_identifiers": 1,
    "terminal/test_identity.py::test_what_was_said_of_an_admission_goes_with_the_next_action": 2,
    "terminal/test_injury.py::test_every_reason_doubt_and_rule_can_be_read_at_80_columns": 12,
    "terminal/test_one_meaning.py::test_help_shows_the_keys_of_its_screen_and_its_own_last_line": 4,
    "terminal/test_one_meaning.py::test_the_list_of_commands_shows_each_with_its_keys_whole": 3,
    "terminal/test_onset.py::test_a_first_examination_begins_on_it_and_one_key_answers_and_goes_on": 3,
    "terminal/test_outage.py::test_a_save_while_the_store_is_away_is_said_kept_and_sent_by_itself": 1,
    "terminal/test_panel.py::test_level_deadline_and_count_always_stand_in_the_line_and_the_rest_is_read_whole_below": 60,
    "terminal/test_questions.py::test_what_is_typed_is_edited_as_a_line": 2,
    "terminal/test_range.py::test_two_segments_fill_the_dermatomes_between_them": 2,
    "terminal/test_range.py::test_what_is_no_range_stays_as_it_was_typed_and_grades_nothing": 3,
    "terminal/test_reasons.py::test_no_word_of_a_reason_is_cut": 1,
    "terminal/test_reasons.py::test_nothing_is_written_without_words_or_where_it_is_left": 1,
    "terminal/test_reasons.py::test_what_was_done_is_written_with_who_and_when": 1,
    "terminal/test_round.py::test_a_level_takes_few_keys": 3,
    "terminal/test_round.py::test_a_statement_is_refused_for_sphincters_and_the_saddle": 3,
    "terminal/test_screens.py::test_a_core_examination_from_list_to_copied_note_takes_one_key_a_finding_and_three": 2,
    "terminal/test_selection.py::test_a_key_acts_on_whom_the_cursor_shows_whatever_another_session_does": 9,
    "terminal/test_slips.py::test_a_minus_behind_a_four_grades_no_side_until_it_is_clear_which": 4,
    "terminal/test_small.py::test_no_key_is_taken_where_nothing_is_seen": 3,
    "terminal/test_store_calls.py::test_a_note_scrolls_while_the_trail_hangs": 1,
    "terminal/test_store_calls.py::test_a_save_that_takes_long_and_is_waited_for_shows_its_note": 1,
    "terminal/test_store_calls.py::test_a_save_that_takes_long_lets_keys_go_on_and_is_there_once": 1,
    "terminal/test_store_calls.py::test_a_sheet_that_takes_long_to_save_goes_on_as_its_amendment": 1,
    "terminal/test_store_calls.py::test_escape_goes_back_from_what_does_not_open_and_nothing_is_left_of_it": 1,
    "terminal/test_store_calls.py::test_every_screen_calls_the_store_from_another_thread": 1,
    "terminal/test_store_calls.py::test_keys_of_an_examination_are_drawn_while_the_store_hangs": 1,
    "terminal/test_store_calls.py::test_keys_typed_while_an_examination_opens_wait_for_it_in_their_order": 1,
    "terminal/test_store_calls.py::test_no_thread_is_left_by_what_was_given_up": 1,
    "terminal/test_textual_port.py::test_a_hang_up_ends_with_the_draft_kept": 1,
    "terminal/test_textual_port.py::test_a_sequence_cut_in_two_never_gives_a_digit": 2,
    "terminal/test_textual_port.py::test_a_signal_ends_with_the_draft_kept_and_the_terminal_restored": 1,
    "terminal/test_textual_port.py::test_going_on_after_a_stop_repaints_and_reads_keys_once": 1,
    "terminal/test_top.py::test_a_first_examination_a_resumed_one_a_later_one_and_an_amended_one_are_told_apart": 1,
    "terminal/test_top.py::test_what_is_abnormal_is_heavier_than_what_is_usual_and_not_examined_quieter": 2,
    "terminal/test_trouble.py::test_a_folder_that_cannot_be_written_is_said_and_everything_saved_when_it_can": 1,
    "terminal/test_urgent_line.py::test_every_screen_of_a_patient_says_it_on_its_second_line": 3,
    "terminal/test_waiting.py::test_an_admission_held_up_is_carried_out_when_that_ends": 1,
    "terminal/test_ward_list.py::test_no_reason_of_the_table_is_cut_whatever_its_clock_and_its_order": 60,
    "terminal/test_who.py::test_somebody_is_found_by_number_and_without_accents": 2,
    "test_ready.py::test_without_a_folder_to_keep_them_the_engine_is_made_all_the_same": 1,
    "test_settings.py::test_an_unknown_home_is_one_line_and_exit_two": 2,
    "test_signals.py::test_a_signal_ends_the_program_once": 7,
    "test_tables.py::test_a_name_that_is_none_is_refused_wherever_it_stands": 8,
    "test_tables.py::test_a_row_of_another_shape_is_refused": 8,
}


def pytest_addoption(parser):
    """The same runs with many more cases, by hand and by `.ci/matrix`."""
    parser.addoption("--long", action="store_true", help="run what is marked long as well")


def pytest_configure(config):
    """Before the tests are imported, for some draw a share of what is usual."""
    if config.getoption("long") and not config.getoption("--hypothesis-profile"):
        settings.load_profile("long")


def pytest_collection_modifyitems(config, items):
    """Mark what stands in a slow folder or module; leave out what is long unless it was asked for."""
    slow = {HERE / name for name in SLOW}
    for path, own in groupby(items, lambda item: item.path):
        if not slow.isdisjoint((path, *path.parents)):
            for item in own:
                item.add_marker(pytest.mark.slow)
    cases: dict[str, list[pytest.Item]] = {}
    for item in items:
        name = f"{item.path.relative_to(HERE)}::{item.originalname}"
        cases.setdefault(name, []).append(item)
    for name, stand_for in STAND_FOR.items():
        own = cases.get(name, [])
        stand = {n * len(own) // stand_for for n in range(stand_for)}
        for number, item in enumerate(own):
            if number not in stand:
                item.add_marker(pytest.mark.long)
    if not config.getoption("long"):
        items[:] = [item for item in items if not item.get_closest_marker("long")]


def pytest_collection_finish():
    """What was imported and collected stays to the end: the garbage collector need not go through it again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE)
    gc.enable()


@pytest.fixture(scope="session", autouse=True)
def one_cache_folder(tmp_path_factory):
    """The engine's rows are made once a run, for all its workers and what they start, apart from the user's own."""
    base = tmp_path_factory.getbasetemp()
    run = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(run / "cache"))
        if run != base:
            with (run / "lock").open("w") as lock:
                fcntl.flock(lock, fcntl.LOCK_EX)  # one makes them, the others wait
                ready.engine()
        yield


@pytest.fixture(scope="session", autouse=True)
def keys_waited_for():
    """An app driven in process is waited for by what a key brings, not by the clock."""
    from tests.terminal.screens import at_rest

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("textual.app.wait_for_idle", at_rest)
        patch.setattr("textual.pilot.wait_for_idle", at_rest)
        yield


@pytest.fixture(scope="session", autouse=True)
def nothing_composed():
    """An app without a terminal composes no lines that nobody sees: a screen is asked for its text. A fourth of a test's time."""
    from textual._compositor import Compositor
    from textual._context import active_app

    from wardexam.terminal.app import WardApp

    def update(self, full=False, screen_stack=None, simplify=False):
        if full or not (app := active_app.get()).is_headless or not isinstance(app, WardApp):
            return composed(self, full, screen_stack, simplify)
        self._dirty_regions.clear()
        return None

    composed = Compositor.render_update
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Compositor, "render_update", update)
        yield


@pytest.fixture
def tmp_path(tmp_path):
    """A folder whose path no other test of the process has.

    What a test leaves is removed as it goes, and an older pytest then gives the path to the next test of that name,
    for which a ward's folder and drafts are still known by it in this process.
    """
    own = tmp_path / str(next(_FOLDERS))
    own.mkdir(mode=0o700)
    return own


@pytest.fixture(autouse=True)
def own_state_folder(tmp_path_factory):
    """Drafts kept elsewhere stay in a folder of the test's own, and nobody's own settings are read.

    It is made by what writes there: to make one for each of thousands of tests takes half a minute.
    """
    own = tmp_path_factory.getbasetemp() / f"own-{next(_FOLDERS)}"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(own / "state"))
        patch.setenv("XDG_CONFIG_HOME", str(own / "settings"))
        yield own / "state"
    shutil.rmtree(own, ignore_errors=True)
