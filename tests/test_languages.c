/* The program in other languages. "qtz" (ISO 639-2 leaves qaa to qtz to local use) is made when
   tests are built: each of its texts is the English one in brackets, 40 % longer (tools/languages
   pseudo). So what stands outside of brackets was not looked up, and what does not fit is too long
   for the room that a longer language needs. */
#include "printed.h"

#include <dirent.h>
#include <errno.h>
#include <jansson.h>
#include <pango/pangocairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/finding.h"
#include "base/language.h"
#include "base/mo.h"
#include "help/pages.h"
#include "present/catalogue.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/check_text.h"
#include "present/picture.h"
#include "temp.h"
#include "text.h"

#define PSEUDO "qtz"

static void set(const char *language) {
    tr_error err = {0};
    if (!tr_language_set(language, &err)) fail_msg("%s: %s", language, err.text);
}

static int back_to_english(void **state) {
    (void)state;
    set("en");
    return 0;
}

/* ---- what stands outside of brackets ---- */

/* Blanks in the place of what is in brackets. */
static void blank_brackets(char *text) {
    static const char OPEN[] = "⟦", CLOSE[] = "⟧";
    int depth = 0;
    for (char *c = text; *c;) {
        bool is_open = strncmp(c, OPEN, sizeof OPEN - 1) == 0;
        bool is_close = strncmp(c, CLOSE, sizeof CLOSE - 1) == 0;
        size_t n = is_open || is_close ? sizeof OPEN - 1 : 1;
        depth += is_open;
        if ((depth > 0 || is_close) && *c != '\n') memset(c, ' ', n);
        depth -= is_close;
        assert_true(depth >= 0);
        c += n;
    }
    assert_int_equal(depth, 0);
}

static void blank(char *text, const char *data) {
    size_t n = strlen(data);
    for (char *at = text; n > 0 && (at = strstr(at, data)); at += n) memset(at, ' ', n);
}

/* has_names: words in capitals, such as JOB, stand for what a user types. */
static bool is_plain(const char *word, size_t n, bool has_names) {
    bool has_small = false;
    for (size_t i = 0; i < n; i++) has_small = has_small || (word[i] >= 'a' && word[i] <= 'z');
    if (!has_small && has_names) return false;
    for (size_t i = 0; i < n; i++) {
        bool is_letter = (word[i] >= 'a' && word[i] <= 'z') || (word[i] >= 'A' && word[i] <= 'Z');
        if (!is_letter && !(i + 1 == n && strchr(".:;", word[i]))) return false;
    }
    return n > 1;
}

/* No line has more than so many words of letters alone, one behind the other. */
static void check_no_words(char *text, int most, const char *what) {
    blank_brackets(text);
    for (char *at = strtok(text, "\n"); at; at = strtok(NULL, "\n")) {
        int n_plain = 0;
        for (const char *word = at; *word;) {
            word += strspn(word, " ");
            size_t n = strcspn(word, " ");
            n_plain = is_plain(word, n, most > 0) ? n_plain + 1 : 0;
            if (n_plain > most) fail_msg("%s: not translated: '%s'", what, at);
            word += n;
        }
    }
}

/* What the program prints, on both streams; owned by the caller. */
static char *output_of(const char *language, const char *arguments) {
    char line[1024];
    int status;
    snprintf(line, sizeof line, "cd '%s/testimages' && TRAMMEL_LANGUAGE=%s '%s' %s 2>&1 </dev/null",
             getenv("TRAMMEL_SOURCE"), language, getenv("TRAMMEL_PROGRAM"), arguments);
    return printed_by(line, &status);
}

/* ---- help and messages ---- */

/* How many brackets are open behind n bytes. */
static int depth_behind(const char *text, size_t n) {
    int depth = 0;
    for (size_t i = 0; i < n; i++) {
        depth += strncmp(text + i, "⟦", 3) == 0;
        depth -= strncmp(text + i, "⟧", 3) == 0;
    }
    return depth;
}

/* Lines that are shown as they stand are what a user types: outside of brackets, below a heading of
   examples or of commands. */
static void blank_literal_lines(char *text) {
    bool is_example = false;
    int depth = 0;
    char *next;
    blank(text, "trammel help ");
    blank(text, "trammel ");
    for (char *at = text; *at; at = next) {
        next = at + strcspn(at, "\n");
        size_t n = (size_t)(next - at);
        bool is_whole = depth == 0 && !memchr(at, '\xe2', n);
        bool is_title = depth == 0 && at[0] != ' ' && n > 0;
        if (is_title) is_example = strncmp(at, "⟦Example", strlen("⟦Example")) == 0;
        const char *option = strstr(at, "[-");
        bool is_typed = is_whole && (is_example || strchr("[-", at[strspn(at, " ")]) ||
                                     (option && option < next));
        depth += depth_behind(at, n);
        if (is_typed) memset(at, ' ', n);
        next += *next == '\n';
    }
}

static void check_help(const char *name) {
    char arguments[64];
    snprintf(arguments, sizeof arguments, "help %s", name);
    char *text = output_of(PSEUDO, arguments);
    if (!strstr(text, "⟧")) fail_msg("%s: no text in '%s'", name, text);
    blank_literal_lines(text);
    check_no_words(text, 1, name);
    free(text);
}

static void help_is_translated(void **state) {
    (void)state;
    check_help("");
    check_help("files");
    for (int i = 0; tr_help_commands[i]; i++) check_help(tr_help_commands[i]->name);
    for (int i = 0; tr_help_formats[i]; i++) check_help(tr_help_formats[i]->name);
}

static void usage_is_translated(void **state) {
    (void)state;
    static const char *const WRONG[] = {"",
                                        "nothing",
                                        "check",
                                        "check --nothing",
                                        "lens --steady",
                                        "design board",
                                        "print --out",
                                        "survey a --out b --align="};
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
        char *text = output_of(PSEUDO, WRONG[i]);
        blank_literal_lines(text);
        check_no_words(text, 2, WRONG[i]);
        free(text);
    }
}

/* The message behind place and key. */
static const char *message_of(const char *line) {
    const char *at = strchr(line, ' ');
    if (at && at[1] == '\'' && strstr(at + 2, "' ")) at = strstr(at + 2, "' ") + 1;
    return at ? at + 1 : line;
}

/* Of all files that are refused, the exact message: known by its shape, and whole in brackets. */
static void errors_are_translated(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    int n = 0;
    snprintf(path, sizeof path, "%s/tests/bad", getenv("TRAMMEL_SOURCE"));
    DIR *folder = opendir(path);
    assert_non_null(folder);
    set(PSEUDO);
    for (const struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        char file[2 * TEMP_SIZE], text[1024];
        uint8_t *data;
        size_t size;
        tr_error err = {0};
        if (entry->d_name[0] == '.') continue;
        snprintf(file, sizeof file, "%s/%s/error", path, entry->d_name);
        assert_true(tr_file_read(file, 4096, &data, &size, &err));
        char *line = (char *)data;
        line[strcspn(line, "\n")] = 0;
        tr_message_translated(message_of(line), text, sizeof text);
        if (strncmp(text, "⟦", 3) != 0) fail_msg("%s: '%s'", entry->d_name, text);
        free(data);
        n++;
    }
    closedir(folder);
    assert_true(n >= 100);
}

static void messages_are_known_by_their_shape(void **state) {
    (void)state;
    char text[512];
    set(PSEUDO);
    tr_message_translated("is 3; give a list", text, sizeof text);
    assert_memory_equal(text, "⟦is 3; give a list", 20);
    tr_message_translated("is a mapping; give a list", text, sizeof text);
    assert_non_null(strstr(text, "⟦is ⟦a mapping ~~~~⟧; give a list"));
    tr_message_translated("names a.yaml, which does not exist; check the path", text, sizeof text);
    assert_non_null(strstr(text, "⟦names a.yaml, which ⟦does not exist; check the path"));
    tr_message_translated("no such sentence is known", text, sizeof text);
    assert_string_equal(text, "no such sentence is known");
    tr_english_begin();
    tr_message_translated("is 3; give a list", text, sizeof text);
    assert_string_equal(text, "is 3; give a list");
    tr_english_end();
}

static tr_mo small_catalogue(const char *folder, const char *po) {
    char path[TEMP_SIZE], line[3 * TEMP_SIZE];
    tr_mo mo;
    temp_write(temp_path(path, folder, "a.po"), po, strlen(po));
    snprintf(line, sizeof line, "cd '%s' && msgfmt -o a.mo a.po", folder);
    assert_int_equal(system(line), 0);
    if (!tr_mo_read(temp_path(path, folder, "a.mo"), &mo)) fail_msg("%s is not read", path);
    return mo;
}

/* Values may change places, and the format with the most words of its own is the one. */
static void values_go_to_their_places(void **state) {
    (void)state;
    static const char PO[] =
        "msgid \"\"\nmsgstr \"Content-Type: text/plain; charset=UTF-8\\n\"\n"
        "msgid \"%s of %d sheets\"\nmsgstr \"von %2$d Blatt: %1$s\"\n"
        "msgid \"%s of %d sheets, %.1f %%\"\nmsgstr \"%3$.1f %%, %2$d Blatt, %1$s\"\n"
        "msgid \"all that there is\"\nmsgstr \"alle\"\n";
    char folder[TEMP_SIZE], text[128], path[TEMP_SIZE];
    temp_make(folder);
    tr_mo mo = small_catalogue(folder, PO);
    assert_string_equal(tr_mo_find(&mo, "all that there is"), "alle");
    assert_null(tr_mo_find(&mo, "all"));
    assert_null(tr_mo_find(&mo, ""));
    assert_true(tr_mo_reprint(&mo, "none of 3 sheets", text, sizeof text));
    assert_string_equal(text, "von 3 Blatt: none");
    assert_true(tr_mo_reprint(&mo, "all that there is of -3 sheets, 0.5 %", text, sizeof text));
    assert_string_equal(text, "0.5 %, -3 Blatt, alle");
    assert_false(tr_mo_reprint(&mo, "none of three sheets", text, sizeof text));
    assert_true(tr_mo_reprint(&mo, "none of 3 sheets", text, 8));
    assert_string_equal(text, "von 3 B");
    /* What is no catalogue: cut at any place, or with a place beyond its end. */
    for (size_t size = 0; size < mo.size; size++) {
        tr_mo cut;
        temp_write(temp_path(path, folder, "b.mo"), mo.data, size);
        if (tr_mo_read(path, &cut)) fail_msg("read with %zu of %zu bytes", size, mo.size);
    }
    for (size_t i = 4; i < mo.size; i++) {
        tr_mo bent;
        mo.data[i] ^= 0x80;
        temp_write(temp_path(path, folder, "b.mo"), mo.data, mo.size);
        mo.data[i] ^= 0x80;
        if (!tr_mo_read(path, &bent)) continue;
        (void)tr_mo_find(&bent, "all that there is");
        if (tr_mo_reprint(&bent, "none of 3 sheets", text, sizeof text))
            assert_true(strlen(text) < sizeof text);
        free(bent.data);
    }
    free(mo.data);
    temp_remove(folder);
}

/* ---- which language ---- */

static void check_language(const char *variable, const char *value, const char *expected) {
    assert_int_equal(setenv(variable, value, 1), 0);
    if (strcmp(tr_language(), expected) != 0)
        fail_msg("%s=%s: '%s', not '%s'", variable, value, tr_language(), expected);
}

static void the_environment_tells_the_language(void **state) {
    (void)state;
    static const char *const VARIABLES[] = {"LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"};
    char *before[4];
    tr_error err = {0};
    for (int i = 0; i < 4; i++) {
        before[i] = getenv(VARIABLES[i]) ? strdup(getenv(VARIABLES[i])) : NULL;
        unsetenv(VARIABLES[i]);
    }
    unsetenv("TRAMMEL_LANGUAGE");
    assert_string_equal(tr_language(), "en");
    check_language("LANG", "de_AT.UTF-8", "de");
    check_language("LC_MESSAGES", "es", "es");
    check_language("LC_ALL", "C", "en");
    check_language("LC_ALL", "xx_YY", "en");
    check_language("LC_ALL", "es_MX@euro", "es");
    check_language("LANGUAGE", "xx:de:es", "de");
    check_language("LANGUAGE", "", "es");
    check_language("LC_ALL", "../../de", "en");
    assert_true(tr_language_prefer("de", &err)); /* a setting goes before the locale */
    assert_string_equal(tr_language(), "de");
    assert_true(tr_language_prefer("es", &err)); /* but not before the user's own */
    assert_string_equal(tr_language(), "de");
    assert_false(tr_language_prefer("xx", &err));
    assert_string_equal(err.text, "there is no language 'xx'; give one of: en, de, es");
    assert_true(tr_language_check(&err));
    check_language("TRAMMEL_LANGUAGE", "xx", "en");
    assert_false(tr_language_check(&err));
    unsetenv("TRAMMEL_LANGUAGE");
    for (int i = 0; i < 4; i++) {
        unsetenv(VARIABLES[i]);
        if (before[i]) setenv(VARIABLES[i], before[i], 1);
        free(before[i]);
    }
}

static void an_unknown_language_is_an_error(void **state) {
    (void)state;
    char *text = output_of("xx", "help");
    assert_string_equal(
        text, "trammel: TRAMMEL_LANGUAGE: there is no language 'xx'; give one of: en, de, es\n");
    free(text);
}

/* ---- a check ---- */

static int n_shown, n_cut;
static char shown_texts[1 << 16];

void __real_pango_cairo_show_layout(cairo_t *cr, PangoLayout *layout);
void __wrap_pango_cairo_show_layout(cairo_t *cr, PangoLayout *layout);

/* Sees all that is drawn. */
void __wrap_pango_cairo_show_layout(cairo_t *cr, PangoLayout *layout) {
    const char *text = pango_layout_get_text(layout);
    size_t used = strlen(shown_texts);
    n_shown++;
    if (pango_layout_is_ellipsized(layout)) {
        n_cut++;
        print_message("cut: %s\n", text);
    }
    snprintf(shown_texts + used, sizeof shown_texts - used, "%s\n", text);
    __real_pango_cairo_show_layout(cr, layout);
}

/* What a job and its files say is data. */
static void blank_data(char *text, const tr_check_result *r) {
    static const char *const UNITS[] = {" mm", "\nX\n", "\nY\n"};
    blank(text, r->layout);
    blank(text, r->vehicle);
    for (int i = 0; i < r->n_sheets; i++) {
        blank(text, r->sheets[i].title);
        blank(text, r->sheets[i].id);
    }
    for (size_t i = 0; i < sizeof UNITS / sizeof *UNITS; i++) blank(text, UNITS[i]);
    for (char *code = strchr(text, '['); code; code = strchr(code + 1, '['))
        for (char *c = code; *c && !strchr("];", *c); c++) *c = ' ';
}

/* The result is for programs, and so the same in each language. */
static void check_is_english(const char *arguments, const char *text) {
    char *english = output_of("en", arguments);
    assert_string_equal(text, english);
    free(english);
}

static void read_check(const char *job, bool is_compared, tr_check_result *result) {
    char arguments[128];
    tr_error err = {0};
    json_error_t why;
    snprintf(arguments, sizeof arguments, "check %s --json", job);
    char *text = output_of("de", arguments);
    if (is_compared) check_is_english(arguments, text);
    json_t *json = json_loads(text, 0, &why);
    if (!json) fail_msg("%s: %s", job, text);
    if (!tr_check_json_read(json, result, &err)) fail_msg("%s: %s", err.key, err.text);
    json_decref(json);
    free(text);
}

static void draw(const tr_check_result *result, const char *folder) {
    char path[TEMP_SIZE];
    tr_error err = {0};
    n_shown = n_cut = 0;
    shown_texts[0] = 0;
    if (!tr_picture_write(result, NULL, temp_path(path, folder, "all.pdf"), &err))
        fail_msg("%s", err.text);
    assert_true(n_shown > 20);
}

static void check_job(const char *job, bool is_compared) {
    static const char *const LONG[] = {"de", "es"};
    char folder[TEMP_SIZE];
    tr_check_result result = {0};
    temp_make(folder);
    read_check(job, is_compared, &result);
    set(PSEUDO);
    char *text = check_text_of(&result, false);
    blank_data(text, &result);
    check_no_words(text, 0, job);
    free(text);
    draw(&result, folder);
    blank_data(shown_texts, &result);
    check_no_words(shown_texts, 0, job);
    assert_int_equal(n_cut, 0);
    for (size_t i = 0; i < sizeof LONG / sizeof *LONG; i++) {
        set(LONG[i]);
        draw(&result, folder);
        assert_int_equal(n_cut, 0);
    }
    tr_check_result_release(&result);
    temp_remove(folder);
}

static void a_check_is_translated(void **state) {
    (void)state;
    check_job("demo-fail.yaml", true);
    check_job("demo-square.yaml", false);
}

static void other_commands_are_translated(void **state) {
    (void)state;
    static const char *const COMMANDS[] = {
        "plan demo-fail.yaml", "print sheets/plate-a.yaml --out /dev/null/a.pdf",
        "lens --squares 10x7 --pitch 30 --out /dev/null/a.yaml lens-photos/01.jpg",
        "check nothing.yaml"};
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++) {
        char *text = output_of(PSEUDO, COMMANDS[i]);
        blank(text, "Rear floor mat, 1600 x 1000");
        blank(text, "Example compact");
        blank_literal_lines(text);
        check_no_words(text, 2, COMMANDS[i]);
        free(text);
    }
}

/* ---- the catalogues ---- */

/* Each language's sentence of a finding has the placeholders of the English one: it can be filled
   in, and names every argument that the English one names. */
static void check_finding(const char *language, tr_finding_kind kind) {
    const char *english = tr_finding_message(kind);
    const char *own = tr_translated(english);
    tr_finding f = {.kind = kind};
    tr_argument *a = f.arguments;
    char text[TR_FINDING_TEXT_SIZE], word[] = "w";
    int n = tr_finding_arguments(kind, f.arguments);
    for (int i = 0; i < n; i++) {
        a[i].number = 1;
        if (a[i].type == TR_ARGUMENT_TEXT || a[i].type == TR_ARGUMENT_LIST) a[i].text = word;
    }
    if (!tr_finding_fill_in(own, &f, text)) fail_msg("%s: '%s'", language, own);
    for (int i = 0; i < n; i++) {
        bool is_in_english = strstr(english, a[i].name);
        if (is_in_english && !strstr(own, a[i].name))
            fail_msg("%s: '%s' lacks %s", language, own, a[i].name);
    }
}

static void findings_have_their_arguments(void **state) {
    (void)state;
    static const char *const LANGUAGES[] = {"de", "es", PSEUDO};
    for (size_t i = 0; i < sizeof LANGUAGES / sizeof *LANGUAGES; i++) {
        set(LANGUAGES[i]);
        for (tr_finding_kind kind = 0; kind < TR_N_FINDINGS; kind++)
            check_finding(LANGUAGES[i], kind);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(help_is_translated, back_to_english),
        cmocka_unit_test_teardown(usage_is_translated, back_to_english),
        cmocka_unit_test_teardown(errors_are_translated, back_to_english),
        cmocka_unit_test_teardown(messages_are_known_by_their_shape, back_to_english),
        cmocka_unit_test(values_go_to_their_places),
        cmocka_unit_test_teardown(the_environment_tells_the_language, back_to_english),
        cmocka_unit_test(an_unknown_language_is_an_error),
        cmocka_unit_test_teardown(a_check_is_translated, back_to_english),
        cmocka_unit_test_teardown(other_commands_are_translated, back_to_english),
        cmocka_unit_test_teardown(findings_have_their_arguments, back_to_english),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
