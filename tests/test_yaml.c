/* The YAML reader: numbers as text, getters, and files made to hurt. Messages of single mistakes
   are kept in tests/bad. */
#include "check.h"
#include "temp.h"

#include <float.h>
#include <time.h>

#include "base/file.h"
#include "base/number.h"
#include "base/text.h"
#include "base/yaml.h"

enum { LIMIT = 4 << 20 };

static int make_folder(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    *state = folder;
    return 0;
}

static int remove_folder(void **state) {
    temp_remove(*state);
    free(*state);
    return 0;
}

/* ---- numbers and text ---- */

static void check_numbers(void) {
    static const struct {
        const char *text;
        double value;
    } GOOD[] = {
        {"0", 0},           {"-0", -0.0},
        {"160", 160},       {"+5", 5},
        {"-12.5", -12.5},   {".5", 0.5},
        {"5.", 5},          {"0.0831", 0.0831},
        {"1e3", 1000},      {"1.5E-3", 1.5e-3},
        {"1e+2", 100},      {"3012.4", 3012.4},
        {"1e-320", 1e-320}, {"1.7976931348623157e308", DBL_MAX},
        {"0e5", 0},
    };
    static const char *const BAD[] = {
        "",
        " ",
        "160abc",
        "1,600",
        "1,5",
        "nan",
        ".nan",
        "inf",
        ".inf",
        "-.inf",
        "Infinity",
        "1e",
        "1e+",
        ".",
        "-",
        "--1",
        "1 ",
        " 1",
        "1 2",
        "0x10",
        "010",
        "-010",
        "00.5",
        "1_000",
        "1:30",
        "1e5.",
        "1.2.3",
        "1d3",
        "1e999",
        "-1e999",
        "\xc2\xa0"
        "1",
        "1\n",
    };
    for (size_t i = 0; i < sizeof GOOD / sizeof *GOOD; i++) {
        double x = -77;
        assert_true(tr_number_parse(GOOD[i].text, &x));
        assert_memory_equal(&x, &GOOD[i].value, sizeof x);
    }
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        double x = -77;
        if (tr_number_parse(BAD[i], &x)) fail_msg("'%s' was taken for a number", BAD[i]);
        CHECK_NEAR(x, -77, 0);
    }
}

static void numbers_are_read_strictly(void **state) {
    (void)state;
    check_numbers();
}

static void whole_numbers_are_read_strictly(void **state) {
    (void)state;
    static const char *const BAD[] = {"",    "-",   "40.0", "4e1", "0x1", "010",
                                      "1_0", "1,0", " 40",  "40 ", "4a",  "99999999999999999999"};
    long x = -77;
    assert_true(tr_integer_parse("40", &x) && x == 40);
    assert_true(tr_integer_parse("-3", &x) && x == -3);
    assert_true(tr_integer_parse("+3", &x) && x == 3);
    assert_true(tr_integer_parse("0", &x) && x == 0);
    assert_true(tr_integer_parse("9223372036854775807", &x) && x == INT64_MAX);
    assert_false(tr_integer_parse("9223372036854775808", &x));
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        if (tr_integer_parse(BAD[i], &x)) fail_msg("'%s' was taken for a whole number", BAD[i]);
    }
}

/* A generator of its own, so that a failure repeats: Marsaglia, Xorshift RNGs, Journal of
   Statistical Software 8(14), 2003. */
static uint64_t next_random(uint64_t *s) {
    *s ^= *s << 13;
    *s ^= *s >> 7;
    *s ^= *s << 17;
    return *s;
}

static void check_round_trip(double x) {
    char text[TR_NUMBER_SIZE];
    double back = 0;
    tr_number_print(x, text);
    assert_true(tr_number_parse(text, &back));
    assert_memory_equal(&back, &x, sizeof x);
    /* YAML 1.1: an exponent only behind a point. */
    assert_true(!strchr(text, 'e') || strchr(text, '.'));
    assert_null(strchr(text, ','));
}

static void check_round_trips(void) {
    static const double VALUES[] = {0,    -0.0,    1,       -1,     0.1,     1e-5,
                                    1e22, DBL_MAX, DBL_MIN, 5e-324, 1.0 / 3, 3012.4};
    uint64_t random = 20240229;
    for (size_t i = 0; i < sizeof VALUES / sizeof *VALUES; i++) check_round_trip(VALUES[i]);
    for (int i = 0; i < 20000; i++) {
        uint64_t bits = next_random(&random);
        double x;
        memcpy(&x, &bits, sizeof x);
        if (isfinite(x)) check_round_trip(x);
    }
}

static void numbers_come_back_bit_by_bit(void **state) {
    (void)state;
    char text[TR_NUMBER_SIZE];
    tr_number_print(1e-5, text);
    assert_string_equal(text, "1.0000000000000001e-05");
    tr_number_print(1e22, text);
    assert_string_equal(text, "1.0e+22");
    tr_number_print(-12.5, text);
    assert_string_equal(text, "-12.5");
    check_round_trips();
}

static void a_comma_locale_changes_nothing(void **state) {
    char text[TR_NUMBER_SIZE];
    if (!set_comma_locale(*state)) {
        set_c_locale();
        need(false, "a locale with a decimal comma");
    }
    tr_number_print(-12.5, text);
    assert_string_equal(text, "-12.5");
    check_numbers();
    check_round_trips();
    /* The locale of the program is as it was. */
    snprintf(text, sizeof text, "%.1f", 0.5);
    set_c_locale();
    assert_string_equal(text, "0,5");
}

static void text_is_checked_and_shown(void **state) {
    (void)state;
    static const char *const GOOD[] = {"", "MAT-7", "gr\xc3\xbc\xc3\x9f", "\xe2\x82\xac",
                                       "\xf0\x9f\x9a\x97"};
    static const char *const BAD[] = {
        "a\nb",
        "\t",
        "\x7f",
        "\xc2\x9b"
        "31m", /* C1 */
        "\xff",
        "\xc3",
        "\xe2\x82",
        "\x80", /* torn */
        "\xc0\xaf",
        "\xe0\x80\xaf", /* longer than need be */
        "\xed\xa0\x80",
        "\xf4\x90\x80\x80", /* surrogate, beyond Unicode */
    };
    char shown[16];
    for (size_t i = 0; i < sizeof GOOD / sizeof *GOOD; i++) {
        assert_true(tr_text_is_line(GOOD[i], strlen(GOOD[i])));
    }
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        assert_false(tr_text_is_line(BAD[i], strlen(BAD[i])));
    }
    assert_false(tr_text_is_line("a\0b", 3));
    tr_text_show("a\x1b[0m", 5, shown, sizeof shown);
    assert_string_equal(shown, "a?[0m");
    tr_text_show("gr\xc3\xbc\xc3\x9f", 6, shown, sizeof shown);
    assert_string_equal(shown, "gr\xc3\xbc\xc3\x9f");
    tr_text_show("0123456789abcdefghij", 20, shown, sizeof shown);
    assert_string_equal(shown, "012345678...");
}

/* ---- getters ---- */

static tr_yaml open_text(const char *folder, const char *text) {
    char path[TEMP_SIZE];
    temp_write(temp_path(path, folder, "test.yaml"), text, strlen(text));
    return tr_yaml_open(path);
}

static void getters_give_what_is_written(void **state) {
    tr_yaml y = open_text(*state, "\xef\xbb\xbf# a byte order mark is no harm\r\n"
                                  "name: \"gr\xc3\xbc\xc3\x9f: 1\"\r\n"
                                  "digits: 0147\r\n"
                                  "kind: b\r\n"
                                  "count: -3\r\n"
                                  "x: -12.5\r\n"
                                  "pair: [1, 2.5]\r\n"
                                  "file: ../x.yaml\r\n"
                                  "list:\r\n"
                                  "  - {id: 7}\r\n"
                                  "  - {id: 8}\r\n"
                                  "none: []\r\n");
    static const char *const KINDS[] = {"a", "b"};
    char text[32] = "";
    tr_yaml_keys(y, "name digits kind count x pair file list none missing?");
    tr_yaml_text(tr_yaml_at(y, "name"), text, sizeof text);
    assert_string_equal(text, "gr\xc3\xbc\xc3\x9f: 1");
    tr_yaml_text(tr_yaml_at(y, "digits"), text, sizeof text);
    assert_string_equal(text, "0147");
    assert_int_equal(tr_yaml_choice(tr_yaml_at(y, "kind"), KINDS, 2), 1);
    assert_int_equal(tr_yaml_integer(tr_yaml_at(y, "count"), -3, 3), -3);
    CHECK_NEAR(tr_yaml_number(tr_yaml_at(y, "x"), -100, 100), -12.5, 0);
    double pair[2] = {0, 0};
    tr_yaml_sizes(tr_yaml_at(y, "pair"), pair, 2, 10);
    CHECK_NEAR(pair[0], 1, 0);
    CHECK_NEAR(pair[1], 2.5, 0);

    char *path = tr_yaml_path(tr_yaml_at(y, "file"));
    assert_non_null(path);
    char wanted[TEMP_SIZE + 8];
    const char *folder = *state;
    snprintf(wanted, sizeof wanted, "%.*s/x.yaml", (int)(strrchr(folder, '/') - folder), folder);
    assert_string_equal(path, wanted);
    free(path);

    int n = 0;
    int *items = tr_yaml_array(tr_yaml_at(y, "list"), 1, 5, sizeof *items, &n);
    assert_non_null(items);
    assert_int_equal(n, 2);
    assert_int_equal(items[1], 0);
    free(items);
    tr_yaml second = tr_yaml_item(tr_yaml_at(y, "list"), 1);
    assert_int_equal(tr_yaml_line(second), 11);
    tr_yaml_keys(second, "id");
    assert_int_equal(tr_yaml_integer(tr_yaml_at(second, "id"), 0, 10), 8);
    assert_false(tr_yaml_has(tr_yaml_item(tr_yaml_at(y, "list"), 2)));
    assert_null(tr_yaml_array(tr_yaml_at(y, "none"), 0, 5, sizeof *items, &n));
    assert_int_equal(n, 0);

    tr_yaml missing = tr_yaml_at(y, "missing");
    assert_false(tr_yaml_has(missing));
    assert_int_equal(tr_yaml_line(missing), 0);
    CHECK_NEAR(tr_yaml_number(missing, 1, 2), 0, 0);
    tr_yaml_fail(missing, "is not there to fail");
    assert_true(tr_yaml_close(y, NULL));
}

/* Lines are counted as ever. */
static void a_byte_order_mark_is_no_text(void **state) {
    static const char *const REFUSED[][2] = {
        {"\xef\xbb\xbf", "is empty"},
        {"\xef\xbb\xbf"
         "a: 1\nb: \xff\n",
         "is not plain UTF-8 text"},
    };
    tr_error err = {0};
    tr_yaml y = open_text(*state, "\xef\xbb\xbf# made elsewhere\r\na: 5\r\nb: x\r\n");
    tr_yaml_keys(y, "a b");
    assert_int_equal(tr_yaml_integer(tr_yaml_at(y, "a"), 0, 9), 5);
    CHECK_NEAR(tr_yaml_number(tr_yaml_at(y, "b"), 0, 1), 0, 0);
    assert_false(tr_yaml_close(y, &err));
    assert_int_equal(err.line, 3);
    for (size_t i = 0; i < sizeof REFUSED / sizeof *REFUSED; i++) {
        err = (tr_error){0};
        y = open_text(*state, REFUSED[i][0]);
        tr_yaml_keys(y, "a b");
        assert_false(tr_yaml_close(y, &err));
        if (!strstr(err.text, REFUSED[i][1])) fail_msg("%s", err.text);
        assert_int_equal(err.line, i == 0 ? 1 : 2);
    }
}

static void the_first_error_stays(void **state) {
    tr_yaml y = open_text(*state, "a: x\nb: y\nlist: [1]\n");
    tr_error err = {0};
    char text[8] = "as was";
    int n = 5;
    tr_yaml_keys(y, "a b list");
    CHECK_NEAR(tr_yaml_number(tr_yaml_at(y, "a"), 0, 1), 0, 0);
    assert_false(tr_yaml_has(y));
    CHECK_NEAR(tr_yaml_number(tr_yaml_at(y, "b"), 0, 1), 0, 0);
    tr_yaml_text(tr_yaml_at(y, "b"), text, sizeof text);
    assert_string_equal(text, "as was");
    assert_null(tr_yaml_array(tr_yaml_at(y, "list"), 1, 5, 1, &n));
    assert_int_equal(n, 0);
    tr_yaml_keys(y, "other");
    tr_yaml_fail(y, "fails again");
    assert_false(tr_yaml_close(y, &err));
    assert_int_equal(err.code, TR_BAD_INPUT);
    assert_int_equal(err.line, 1);
    assert_string_equal(err.key, "a");
    assert_string_equal(err.text, "is x; give a plain number such as 1600 or -12.5");
}

static void an_error_of_the_caller_is_kept(void **state) {
    tr_yaml y = open_text(*state, "a: [\n");
    tr_error err = {0};
    tr_fail(&err, TR_NO_MEASURE, "came first");
    assert_false(tr_yaml_close(y, &err));
    assert_int_equal(err.code, TR_NO_MEASURE);
}

static void a_missing_file_is_told_at_the_end(void **state) {
    char path[TEMP_SIZE];
    tr_error err = {0};
    tr_yaml y = tr_yaml_open(temp_path(path, *state, "none.yaml"));
    tr_yaml_keys(y, "a");
    assert_false(tr_yaml_has(tr_yaml_at(y, "a")));
    assert_false(tr_yaml_close(y, &err));
    assert_int_equal(err.code, TR_NO_FILE);
    assert_string_equal(err.text, "does not exist; check the path");
}

/* ---- files made to hurt ---- */

static double seconds_now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* The file is refused within some seconds, even with sanitizers; its message begins as wanted. */
static void check_refused(const char *path, const char *wanted) {
    tr_error err = {0};
    double start = seconds_now();
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "a");
    assert_false(tr_yaml_close(y, &err));
    CHECK_AT_MOST(seconds_now() - start, 20);
    assert_int_equal(err.code, TR_BAD_INPUT);
    assert_string_equal(err.file, path);
    if (strncmp(err.text, wanted, strlen(wanted)) != 0) fail_msg("%s", err.text);
}

static void a_file_of_100_megabytes_is_refused_at_once(void **state) {
    char path[TEMP_SIZE];
    char line[1000];
    memset(line, 'x', sizeof line);
    memcpy(line, "sheet: ", 7);
    line[999] = '\n';
    FILE *to = fopen(temp_path(path, *state, "huge.yaml"), "wb");
    assert_non_null(to);
    for (int i = 0; i < 100000; i++) assert_int_equal(fwrite(line, 1, 1000, to), 1000);
    assert_int_equal(fclose(to), 0);
    double start = seconds_now();
    check_refused(path, "has 100000000 bytes, more than the 4194304 allowed; check that it is the "
                        "right file");
    CHECK_AT_MOST(seconds_now() - start, 0.1);
}

static void a_file_at_the_limit_is_read(void **state) {
    char path[TEMP_SIZE];
    char *text = malloc(LIMIT + 1);
    assert_non_null(text);
    memset(text, ' ', LIMIT + 1);
    for (size_t i = 79; i < LIMIT; i += 80) text[i] = '\n';
    memcpy(text, "a: 5\n", 5);
    temp_write(temp_path(path, *state, "a.yaml"), text, LIMIT);
    tr_yaml y = tr_yaml_open(path);
    assert_int_equal(tr_yaml_integer(tr_yaml_at(y, "a"), 0, 9), 5);
    assert_true(tr_yaml_close(y, NULL));
    temp_write(path, text, LIMIT + 1);
    check_refused(path, "has 4194305 bytes");
    free(text);
}

/* 4 MB of one short piece over and over, behind a head. */
static void check_repeated(const char *folder, const char *head, const char *piece,
                           const char *wanted) {
    char path[TEMP_SIZE];
    char *text = malloc(LIMIT + 1);
    assert_non_null(text);
    size_t n = strlen(head);
    size_t n_piece = strlen(piece);
    memcpy(text, head, n);
    for (; n + n_piece <= LIMIT; n += n_piece) memcpy(text + n, piece, n_piece);
    temp_write(temp_path(path, folder, "a.yaml"), text, n);
    free(text);
    check_refused(path, wanted);
}

static void files_that_blow_up_are_refused(void **state) {
    check_repeated(*state, "", "[", "is nested too deep");
    check_repeated(*state, "", "{a: ", "is nested too deep");
    check_repeated(*state, "", "- ", "is nested too deep");
    check_repeated(*state, "", "? ", "is nested too deep");
    check_repeated(*state, "[", "1,", "holds too many values");
    check_repeated(*state, "", "- 1\n", "holds too many values");
    check_repeated(*state, "[", "[],", "holds too many values");
    check_repeated(*state, "a: \"", "x", "is not YAML");
    check_repeated(*state, "a: '", "\n", "is not YAML");
    check_repeated(*state, "", "x", "is xxxx");
    check_repeated(*state, "a: &", "x", "uses an anchor");
    check_repeated(*state, "a: !", "x", "uses a tag");
    check_repeated(*state, "", "---\n", "starts a second document");
    check_repeated(*state, "", "# x\n", "is empty");
    check_repeated(*state, "%YAML 1.1\n", "%TAG ! x\n", "is not YAML");
    check_repeated(*state, "", "\xff", "is not plain UTF-8 text");
    check_repeated(*state, "", "a:\n ", "holds too many values");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_read_strictly),
        cmocka_unit_test(whole_numbers_are_read_strictly),
        cmocka_unit_test(numbers_come_back_bit_by_bit),
        cmocka_unit_test_setup_teardown(a_comma_locale_changes_nothing, make_folder, remove_folder),
        cmocka_unit_test(text_is_checked_and_shown),
        cmocka_unit_test_setup_teardown(getters_give_what_is_written, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(a_byte_order_mark_is_no_text, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(the_first_error_stays, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(an_error_of_the_caller_is_kept, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(a_missing_file_is_told_at_the_end, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_file_of_100_megabytes_is_refused_at_once, make_folder,
                                        remove_folder),
        cmocka_unit_test_setup_teardown(a_file_at_the_limit_is_read, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(files_that_blow_up_are_refused, make_folder, remove_folder),
    };
    return cmocka_run_group_tests_name("yaml", tests, NULL, NULL);
}
