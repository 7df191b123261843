/* Every finding has a sentence; what stands in it is what tr_note gives; lists, choices, numbers.
 */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include "findings.h"

/* A finding of a kind whose arguments are its names, 1, 1.5 and lists of two. */
static tr_finding sample(tr_finding_kind kind) {
    tr_finding f = {.kind = kind};
    int n = tr_finding_arguments(kind, f.arguments);
    for (int i = 0; i < n; i++) {
        tr_argument *a = &f.arguments[i];
        a->number = a->type == TR_ARGUMENT_INTEGER ? 1 : 1.5;
        if (a->type == TR_ARGUMENT_TEXT) a->text = strdup(a->name);
        if (a->type == TR_ARGUMENT_LIST) a->text = strdup("one\ntwo");
        if (a->type != TR_ARGUMENT_PART) continue;
        a->part = malloc(sizeof *a->part);
        assert_non_null(a->part);
        *a->part = sample(TR_FOUND_SAME_PHOTO);
    }
    return f;
}

static bool names(const char *message, const char *name) {
    char placeholder[6][TR_ARGUMENT_NAME_SIZE + 4];
    static const char *const FORMS[] = {"{%s}", "{%s:", "{%s?", "{|%s|", "{~%s}", "{~%s:"};
    for (int i = 0; i < 6; i++) {
        snprintf(placeholder[i], sizeof placeholder[i], FORMS[i], name);
        if (strstr(message, placeholder[i])) return true;
    }
    return false;
}

static void every_finding_has_its_sentence(void **state) {
    (void)state;
    for (tr_finding_kind kind = 0; kind < TR_N_FINDINGS; kind++) {
        char text[TR_FINDING_TEXT_SIZE];
        const char *message = tr_finding_message(kind);
        const char *code = tr_finding_code(kind);
        tr_finding f = sample(kind);
        if (!message) fail_msg("finding %d, %s, has no sentence", (int)kind, code);
        if (!tr_finding_fill_in(message, &f, text)) {
            fail_msg("%s: a placeholder is no argument, or not of its type: %s", code, message);
        }
        /* How a job names a photo's lens. */
        if (kind != TR_FOUND_TWO_PROFILES) assert_null(strpbrk(text, "{}"));
        bool is_short = kind == TR_FOUND_SAID || strcmp(code, "camera") == 0;
        assert_true(strlen(text) > 20 || is_short);
        assert_true(strlen(text) < TR_FINDING_TEXT_SIZE - 300);
        for (int i = 0; i < TR_MAX_ARGUMENTS && f.arguments[i].name[0]; i++) {
            if (!names(message, f.arguments[i].name)) {
                fail_msg("%s: '%s' is not in: %s", code, f.arguments[i].name, message);
            }
        }
        tr_finding_release(&f);
    }
}

static void codes_are_words(void **state) {
    (void)state;
    for (tr_finding_kind kind = 0; kind < TR_N_FINDINGS; kind++) {
        const char *code = tr_finding_code(kind);
        assert_int_equal(strspn(code, "abcdefghijklmnopqrstuvwxyz_"), strlen(code));
    }
}

static void arguments_are_what_the_table_says(void **state) {
    (void)state;
    tr_argument a[TR_MAX_ARGUMENTS];
    assert_int_equal(tr_finding_arguments(TR_FOUND_REAR_PLATES_ONLY, a), 0);
    assert_int_equal(tr_finding_arguments(TR_FOUND_PROFILE_GAINS, a), TR_MAX_ARGUMENTS);
    assert_string_equal(a[TR_MAX_ARGUMENTS - 1].name, "now_yaw_deg");
    assert_int_equal(tr_finding_arguments(TR_FOUND_SHEET_MOVED, a), 3);
    assert_string_equal(a[0].name, "sheet");
    assert_int_equal(a[0].type, TR_ARGUMENT_TEXT);
    assert_string_equal(a[1].name, "photos");
    assert_int_equal(a[1].type, TR_ARGUMENT_LIST);
    assert_string_equal(a[2].name, "away_mm");
    assert_int_equal(a[2].type, TR_ARGUMENT_NUMBER);
    assert_int_equal(tr_finding_arguments(TR_FOUND_TAG_MISPLACED, a), 3);
    assert_int_equal(a[0].type, TR_ARGUMENT_INTEGER);
}

static tr_finding moved(char *photos, double away_mm) {
    tr_finding f = {.kind = TR_FOUND_SHEET_MOVED};
    tr_finding_arguments(f.kind, f.arguments);
    f.arguments[0].text = (char *)(uintptr_t) "MAT-7";
    f.arguments[1].text = photos;
    f.arguments[2].number = away_mm;
    return f;
}

static void check_filled(const tr_finding *f, const char *message, const char *expected) {
    char text[TR_FINDING_TEXT_SIZE];
    if (!tr_finding_fill_in(message, f, text)) fail_msg("'%s' was not filled in", message);
    assert_string_equal(text, expected);
}

static void placeholders_show_arguments(void **state) {
    (void)state;
    char one[] = "1.jpg", two[] = "1.jpg\n2.jpg", four[] = "a\nb\nc\nd", six[] = "a\nb\nc\nd\ne\nf";
    tr_finding f = moved(one, -12.345);
    check_filled(&f, "no placeholder: 100 %", "no placeholder: 100 %");
    check_filled(&f, "{{ {sheet} }", "{ MAT-7 }");
    check_filled(&f, "{sheet}, {photos}{photos?|!}", "MAT-7, 1.jpg");
    check_filled(&f, "{away_mm:.0f} {away_mm:.2f} {|away_mm|:.1f} {|away_mm|:+.1f} {away_mm:.3g}",
                 "-12 -12.35 12.3 +12.3 -12.3");
    check_filled(&f, "{away_mm?up|down}", "down");
    f = moved(two, 0.0123);
    check_filled(&f, "{photos} {photos?is|are}", "1.jpg and 2.jpg are");
    check_filled(&f, "{photos:or}", "1.jpg or 2.jpg");
    check_filled(&f, "{away_mm?up|down} {away_mm:.2s}", "up 0.012");
    f = moved(four, 123);
    check_filled(&f, "{photos} {away_mm:.2s}", "a, b, c and d 123");
    f = moved(six, 1.04);
    check_filled(&f, "{photos} {away_mm:.2s}", "a, b, c and 3 more 1.0");
    check_filled(&f, "{photos:2}; {photos:8}", "a and 5 more; a, b, c, d, e and f");
}

static void what_is_no_placeholder_is_refused(void **state) {
    (void)state;
    static const char *const BAD[] = {
        "{away}",        "{}",           "{sheet",         "{sheet:.1f}",    "{away_mm}",
        "{away_mm:.1}",  "{away_mm:1f}", "{away_mm:.1d}",  "{photos:x}",     "{sheet?a|b}",
        "{away_mm?a,b}", "{|sheet|}",    "{|away_mm:.1f}", "{~away_mm:.1f}", "{~photos?a|b}"};
    char one[] = "1.jpg";
    tr_finding f = moved(one, 1);
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        if (tr_finding_fill_in(BAD[i], &f, text)) fail_msg("'%s' became '%s'", BAD[i], text);
    }
}

static void a_finding_is_noted_once(void **state) {
    (void)state;
    tr_findings list = {0};
    tr_error err = {0};
    assert_false(tr_findings_have(&list, TR_FOUND_SHEET_MOVED));
    assert_true(tr_note(ONLY_TIE, &list, &err, "MAT-7", "1.jpg"));
    assert_false(tr_findings_block_pass(&list));
    assert_true(tr_note(SHEET_AT_TWO_PLACES, &list, &err, "MAT-7", "1.jpg", 12.0));
    assert_true(tr_note(SHEET_AT_TWO_PLACES, &list, &err, "MAT-7", "1.jpg", 12.0));
    assert_int_equal(list.n, 2);
    assert_true(tr_note(SHEET_AT_TWO_PLACES, &list, &err, "MAT-7", "1.jpg", 12.5));
    assert_true(tr_note(SHEET_AT_TWO_PLACES, &list, &err, "MAT-7", "2.jpg", 12.0));
    assert_int_equal(list.n, 4);
    assert_true(tr_findings_block_pass(&list));
    assert_true(tr_findings_have(&list, TR_FOUND_SHEET_AT_TWO_PLACES));
    assert_true(tr_findings_have(&list, TR_FOUND_SHEET_MOVED)); /* a variant of it */
    assert_false(tr_findings_have(&list, TR_FOUND_SHEET_SCALE));
    assert_string_equal(finding_text(&list.items[0]),
                        "Only MAT-7 ties 1.jpg to the other photos, so nothing shows that it lay "
                        "still in between. Take another photo that shows a sheet from the one "
                        "group together with a sheet from the other.");
    tr_findings_release(&list);
}

/* A part is copied, told apart, and filled in where it stands. */
static void a_finding_has_a_reason(void **state) {
    (void)state;
    tr_findings list = {0}, copy = {0}, why = {0}, other = {0};
    tr_error err = {0};
    assert_true(tr_note(SAME_PHOTO, &why, &err, "{photo}.jpg"));
    assert_true(tr_note(SAME_PHOTO, &other, &err, "3.jpg"));
    const void *reason = why.items, *other_reason = other.items, *none = NULL;
    for (int i = 0; i < 2; i++) {
        assert_true(tr_note(PHOTO_NOT_USED, &list, &err, "2.jpg", reason));
    }
    assert_int_equal(list.n, 1);
    assert_true(tr_note(PHOTO_NOT_USED, &list, &err, "2.jpg", other_reason));
    assert_true(tr_note(PHOTO_NOT_USED, &list, &err, "2.jpg", none));
    assert_int_equal(list.n, 3);
    assert_true(tr_findings_copy_all(&list, &copy, &err));
    tr_findings_release(&why);
    tr_findings_release(&other);
    tr_findings_release(&list);
    assert_string_equal(finding_text(&copy.items[0]),
                        "Photo 2.jpg is not used: it is the same photo as {photo}.jpg.");
    assert_string_equal(finding_text(&copy.items[1]),
                        "Photo 2.jpg is not used: it is the same photo as 3.jpg.");
    assert_string_equal(reason_text(&why), "");
    tr_findings_release(&copy);
}

/* A photo's flaw is known again by its words. */
static void every_flaw_has_words_of_its_own(void **state) {
    (void)state;
    for (tr_photo_flaw flaw = TR_FLAW_NONE + 1; flaw < TR_N_FLAWS; flaw++) {
        assert_true(strlen(tr_photo_flaw_text(flaw)) > 20);
        assert_int_equal(tr_photo_flaw_of(tr_photo_flaw_text(flaw)), flaw);
        /* Nobody is told to hold still for anything but blur. */
        assert_int_equal(strstr(tr_photo_flaw_text(flaw), "hold still") != NULL,
                         flaw == TR_FLAW_BLURRED || flaw == TR_FLAW_TAGS_BLURRED);
    }
    assert_int_equal(tr_photo_flaw_of("it is the same photo as 3.jpg"), TR_FLAW_NONE);
}

/* What controls a terminal, or is longer than any line. */
static void any_text_becomes_one_line(void **state) {
    (void)state;
    tr_findings list = {0};
    tr_error err = {0};
    char name[2 * TR_FINDING_TEXT_SIZE];
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = 0;
    assert_true(tr_note(PHOTO_MIRRORED, &list, &err, "\033[2J{photo}%s"));
    assert_true(tr_note(PHOTO_MIRRORED, &list, &err, name));
    assert_null(strchr(finding_text(&list.items[0]), '\033'));
    assert_non_null(strstr(finding_text(&list.items[0]), "{photo}%s is mirrored"));
    assert_true(strlen(finding_text(&list.items[1])) < TR_FINDING_TEXT_SIZE);
    tr_findings_release(&list);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_finding_has_its_sentence),
        cmocka_unit_test(codes_are_words),
        cmocka_unit_test(arguments_are_what_the_table_says),
        cmocka_unit_test(placeholders_show_arguments),
        cmocka_unit_test(what_is_no_placeholder_is_refused),
        cmocka_unit_test(a_finding_is_noted_once),
        cmocka_unit_test(a_finding_has_a_reason),
        cmocka_unit_test(every_flaw_has_words_of_its_own),
        cmocka_unit_test(any_text_becomes_one_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
