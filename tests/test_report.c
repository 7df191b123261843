/* Reports: the PDF is read back by poppler's tools, the HTML by expat, and what they say is held
   against the result's JSON. The result is that of a small job (small.h), in which each test
   changes what it is about. TRAMMEL_SHOW=1 keeps the files. */
#include "printed.h"
#include "small.h"

#include <expat.h>
#include <jansson.h>
#include <nettle/base64.h>
#include <unistd.h>

#include "base/file.h"
#include "image/image.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/words.h"
#include "report/report.h"

enum { PASS = 0, FAIL = 1, INCONCLUSIVE = 2, NO_MEASURE = 3, USAGE = 64 };

static char home[TEMP_SIZE]; /* the folder of all tests, which they work in */

/* ---- Other programs ---- */

/* The program with arguments as a shell reads them; what it says on both streams. */
static char *run(const char *arguments, int status) {
    char command[2048];
    int ended;
    snprintf(command, sizeof command, "'%s' %s 2>&1", getenv("TRAMMEL_PROGRAM"), arguments);
    char *text = printed_by(command, &ended);
    if (ended != status) print_error("%s\nended with %d:\n%s\n", arguments, ended, text);
    assert_int_equal(ended, status);
    return text;
}

static void check_has(const char *text, const char *part) {
    if (!strstr(text, part)) print_error("'%s' is not in:\n%s\n", part, text);
    assert_non_null(strstr(text, part));
}

static void check_lacks(const char *text, const char *part) {
    if (strstr(text, part)) print_error("'%s' is in:\n%s\n", part, text);
    assert_null(strstr(text, part));
}

static int count(const char *text, const char *part) {
    int n = 0;
    for (const char *at = strstr(text, part); at; at = strstr(at + 1, part)) n++;
    return n;
}

static void run_and_check(const char *arguments, int status, const char *said) {
    char *text = run(arguments, status);
    check_has(text, said);
    free(text);
}

/* ---- Results ---- */

/* Not inlined: GCC 12 would take what was read for a pointer to a variable that is gone. */
__attribute__((noinline)) static char *read_file(const char *path, size_t *size) {
    uint8_t *data;
    tr_error err = {0};
    if (!tr_file_read(path, (size_t)64 << 20, &data, size, &err))
        fail_msg("%s: %s", path, err.text);
    return (char *)data;
}

static json_t *read_json(const char *path) {
    json_t *json = json_load_file(path, 0, NULL);
    assert_non_null(json);
    return json;
}

static void write_json(const json_t *json, const char *path) {
    assert_int_equal(json_dump_file(json, path, 0), 0);
}

static json_t *axis_of(json_t *json, const char *axis) {
    json_t *target = json_array_get(json_object_get(json, "targets"), 0);
    json_t *found = json_object_get(target, axis);
    assert_non_null(found);
    return found;
}

static double number_of(json_t *axis, const char *key) {
    json_t *value = json_object_get(axis, key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

/* As people read it, by a way of its own: rounded, with a true minus. */
static const char *shown(double value, int decimals, const char *sign) {
    enum { N = 16 };
    static char text[N][48];
    static int next;
    char plain[32];
    next = (next + 1) % N;
    snprintf(plain, sizeof plain, "%.*f", decimals, fabs(value));
    bool is_zero = strtod(plain, NULL) == 0.0;
    bool has_minus = value < 0 && !is_zero;
    bool has_sign = *sign && !(*sign == '+' && (has_minus || is_zero));
    snprintf(text[next], sizeof text[0], "%s%s%s", has_minus ? "−" : "", has_sign ? sign : "",
             plain);
    return text[next];
}

/* A result and what a report of it needs. */
typedef struct {
    tr_check_result result;
    char *json;
    tr_report report;
} made;

static void take(made *m, json_t *json) {
    tr_error err = {0};
    memset(m, 0, sizeof *m);
    if (!tr_check_json_read(json, &m->result, &err)) fail_msg("%s: %s", err.key, err.text);
    m->json = json_dumps(json, 0);
    assert_non_null(m->json);
    m->report = (tr_report){.result = &m->result,
                            .json = m->json,
                            .json_size = strlen(m->json),
                            .program = "trammel 1.0.0"};
    json_decref(json);
}

static void release(made *m) {
    tr_check_result_release(&m->result);
    free(m->json);
}

static void write_report(const tr_report *report, const char *path) {
    uint8_t *data;
    size_t size;
    tr_error err = {0};
    bool is_html = strstr(path, ".html");
    bool ok = (is_html ? tr_report_html : tr_report_pdf)(report, &data, &size, &err) &&
              tr_file_write(path, data, size, &err);
    if (!ok) fail_msg("%s", err.text);
    free(data);
}

static char *text_of_pdf(const char *path) {
    char command[256];
    snprintf(command, sizeof command, "pdftotext -layout %s -", path);
    return printed_by(command, NULL);
}

/* ---- PDF ---- */

static void paper_has_its_size(void **state) {
    (void)state;
    static const char *const SIZES[] = {"595.276 x 841.89 pts (A4)", "612 x 792 pts (letter)"};
    made m;
    take(&m, read_json("result.json"));
    for (int i = 0; i < 2; i++) {
        m.report.paper = (tr_report_paper)i;
        write_report(&m.report, "paper.pdf");
        char *info = printed_by("pdfinfo paper.pdf", NULL);
        check_has(info, SIZES[i]);
        check_has(info, "Pages:           2");
        check_has(info, "Title:           Placement check: job SMALL-1, 1M8GDM9AXKP042788");
        check_has(info, "Tagged:          yes");
        check_lacks(info, "CreationDate"); /* nothing but a record has a time */
        check_lacks(info, "Author");
        free(info);
    }
    release(&m);
}

static void fonts_and_photo_are_in_it(void **state) {
    (void)state;
    made m;
    take(&m, read_json("result.json"));
    write_report(&m.report, "a.pdf");
    char *fonts = printed_by("pdffonts a.pdf | tail -n +3", NULL);
    assert_true(count(fonts, "DejaVuSans") >= 2);
    /* Name, type, encoding, then: embedded, subset, to Unicode. */
    assert_int_equal(count(fonts, " yes yes yes "), count(fonts, "\n"));
    free(fonts);
    char *images = printed_by("pdfimages -list a.pdf | tail -n +3", NULL);
    assert_int_equal(count(images, "\n"), 1);
    check_has(images, "jpeg");
    free(images);
    char *tree = printed_by("pdfinfo -struct a.pdf 2>&1", NULL);
    check_lacks(tree, "Warning");
    check_has(tree, "Document\n  H1");
    check_has(tree, "Table");
    check_has(tree, "Figure");
    free(tree);
    release(&m);
}

static void the_result_is_attached(void **state) {
    (void)state;
    size_t size;
    free(run("report result.json --out a.pdf", PASS));
    free(printed_by("pdfdetach -save 1 -o attached.json a.pdf", NULL));
    char *attached = read_file("attached.json", &size);
    char *original = read_file("result.json", &size);
    assert_string_equal(attached, original);
    free(attached);
    free(original);
}

/* Of each judged axis the whole row, in the order of the columns; and the plan's dimensions. */
static void check_numbers(json_t *json, const char *text, bool has_plan, double mm, int decimals) {
    static const char *const AXES[] = {"x_mm", "y_mm", "yaw_deg"};
    char row[256];
    for (int i = 0; i < 3; i++) {
        json_t *a = axis_of(json, AXES[i]);
        double unit = i < 2 ? mm : 1;
        int n = i < 2 ? decimals : 2;
        const char *measured = shown(number_of(a, "measured") * unit, n, "");
        const char *u95 = shown(number_of(a, "u95") * unit, n, "±");
        check_has(text, measured);
        check_has(text, u95);
        check_has(text, shown(number_of(a, "required") * unit, n, ""));
        check_has(text, shown(number_of(a, "error") * unit, n, "+"));
        check_has(text, shown(number_of(a, "limit") * unit, n, "±"));
        snprintf(row, sizeof row, "%s %s", measured, u95);
        if (i < 2 && has_plan) check_has(text, row);
    }
    json_t *base = json_object_get(json_object_get(json, "references"), "wheelbase_mm");
    snprintf(row, sizeof row, "%s %s", shown(number_of(base, "measured") * mm, decimals, ""),
             shown(number_of(base, "u95") * mm, decimals, "±"));
    if (has_plan) check_has(text, row);
    check_has(text, shown(number_of(base, "measured") * mm, decimals, ""));
    check_has(text, shown(number_of(base, "stated") * mm, decimals, ""));
}

static void numbers_are_those_of_the_result(void **state) {
    (void)state;
    made m;
    json_t *json = read_json("result.json");
    take(&m, json_incref(json));
    for (int inch = 0; inch < 2; inch++) {
        m.report.unit = inch ? TR_INCH : TR_MM;
        write_report(&m.report, "numbers.pdf");
        /* In the order in which they are drawn; a turned dimension is one line a word. */
        char *text = printed_by("pdftotext -raw numbers.pdf - | tr '\\n' ' '", NULL);
        check_numbers(json, text, true, inch ? 1 / 25.4 : 1, inch ? 3 : 1);
        check_has(text, inch ? "X forward, in" : "X forward, mm");
        check_lacks(text, inch ? ", mm" : ", in ");
        free(text);
    }
    json_decref(json);
    release(&m);
}

static void what_it_says_is_there(void **state) {
    (void)state;
    static const char *const PARTS[] = {"PASS",
                                        "SMALL-1",
                                        "SMALL-REAR",
                                        "Small estate car",
                                        "1M8GDM9AXKP042788",
                                        "not kept: this is no record",
                                        "What the uncertainty is made of",
                                        "References and cross-checks",
                                        "Warnings",
                                        "Lens",
                                        "Photos: 4 of 4 used",
                                        "Cautions",
                                        "Name",
                                        "Signature",
                                        "page 2 of 2",
                                        "chock the wheels"};
    made m;
    take(&m, read_json("result.json"));
    write_report(&m.report, "a.pdf");
    char *text = text_of_pdf("a.pdf");
    for (size_t i = 0; i < sizeof PARTS / sizeof *PARTS; i++) check_has(text, PARTS[i]);
    for (int i = 0; i < m.result.n_photos; i++) {
        char start[17];
        snprintf(start, sizeof start, "%.16s", m.result.photos[i].sha256);
        check_has(text, start);
        check_lacks(text, m.result.photos[i].sha256); /* paper has no room for all of it */
    }
    free(text);
    release(&m);
}

static void a_record_is_told(void **state) {
    (void)state;
    static const char HASH[] = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08";
    const tr_report_lens lens = {"bay-2-tablet", 504, 378, "2026-01-12", "2026-01-30"};
    const tr_report_file file = {"job", "jobs/small.yaml", HASH};
    made m;
    take(&m, read_json("result.json"));
    m.report.record = (tr_report_record){17, "0b0c6e0e-7f1d-4b0f-9d55-0a1b2c3d4e5f", HASH,
                                         "2026-01-31T09:30:00Z"};
    m.report.shop = "Bay & Söhne";
    m.report.technician = "T-04";
    m.report.lenses = &lens;
    m.report.n_lenses = 1;
    m.report.files = &file;
    m.report.n_files = 1;
    write_report(&m.report, "record.pdf");
    char *text = text_of_pdf("record.pdf");
    check_lacks(text, "no record");
    check_has(text, HASH); /* whole once: it is what proves the store */
    check_has(text, "record 17");
    check_has(text, "2026-01-31 09:30 UTC");
    check_has(text, "0b0c6e0e-7f1d-4b0f-9d55-0a1b2c3d4e5f");
    check_has(text, "Bay & Söhne");
    check_has(text, "T-04");
    check_has(text, "bay-2-tablet");
    check_has(text, "2026-01-30, the day before this check");
    check_has(text, "jobs/small.yaml");
    free(text);
    char *info = printed_by("TZ=UTC pdfinfo record.pdf", NULL);
    check_has(info, "CreationDate:    Sat Jan 31 09:30:00 2026");
    check_has(info, "Author:          Bay & Söhne");
    free(info);
    release(&m);
}

static void preconditions_are_told(void **state) {
    (void)state;
    made m;
    json_t *json = read_json("result.json");
    json_object_set_new(
        json, "preconditions",
        json_pack("[{s:s, s:s, s:b, s:s, s:s, s:s, s:n}, {s:s, s:s, s:b, s:s, s:n, s:n, s:n}]",
                  "id", "tyres", "text", "Tyre pressures set", "required", 1, "state", "confirmed",
                  "by", "T-09", "at", "2026-01-31T09:10:00+01:00", "reason", "id", "chocks", "text",
                  "Wheels chocked", "required", 1, "state", "not confirmed", "by", "at", "reason"));
    take(&m, json);
    write_report(&m.report, "before.pdf");
    char *text = text_of_pdf("before.pdf");
    check_has(text, "Before measuring");
    check_has(text, "Tyre pressures set");
    check_has(text, "T-09");
    check_has(text, "2026-01-31 08:10 UTC");
    check_has(text, "NOT CONFIRMED");
    check_has(text, "mandatory");
    free(text);
    release(&m);
}

/* Of a lens that was only confirmed, nobody asks when it was calibrated. */
static void a_confirmation_alone_is_enough(void **state) {
    (void)state;
    static const struct {
        const char *confirmed, *said;
    } CASES[] = {
        {"2026-01-31T09:20:00Z", "2026-01-31 09:20 UTC, less than an hour before this check"},
        {"2026-01-31T08:20:00Z", "2026-01-31 08:20 UTC, an hour before this check"},
        {"2026-01-30T07:45:00Z", "2026-01-30 07:45 UTC, 25 hours before this check"},
        {"2026-01-28T07:45:00Z", "2026-01-28 07:45 UTC, 3 days before this check"},
    };
    made m;
    take(&m, read_json("result.json"));
    m.report.record = (tr_report_record){17, "id", "hash", "2026-01-31T09:30:00Z"};
    m.report.n_lenses = 1;
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        const tr_report_lens lens = {"bay-2-tablet", 504, 378, "", CASES[i].confirmed};
        m.report.lenses = &lens;
        write_report(&m.report, "lens.pdf");
        char *text = printed_by("pdftotext -raw lens.pdf -", NULL);
        check_has(text, CASES[i].said);
        check_has(text, "profile image size last confirmed");
        check_lacks(text, "not known");
        free(text);
    }
    release(&m);
}

static void same_result_same_bytes(void **state) {
    (void)state;
    static const char *const NAMES[] = {"once.pdf", "twice.pdf", "once.html", "twice.html"};
    char *data[4];
    size_t size[4];
    made m;
    take(&m, read_json("result.json"));
    for (int i = 0; i < 4; i++) {
        write_report(&m.report, NAMES[i]);
        data[i] = read_file(NAMES[i], &size[i]);
    }
    for (int i = 0; i < 4; i += 2) {
        if (size[i] != size[i + 1])
            fail_msg("%s has %zu bytes, then %zu", NAMES[i], size[i], size[i + 1]);
        assert_memory_equal(data[i], data[i + 1], size[i]);
    }
    for (int i = 0; i < 4; i++) free(data[i]);
    release(&m);
}

/* ---- HTML ---- */

typedef struct {
    int n_images, n_photos, n_drawings, n_scripts, n_heads, depth_script;
    bool has_language, has_style;
    char title[512];
    char *json;
    size_t json_size;
    FILE *json_out;
    bool is_in_title;
} page;

static const char *attribute(const XML_Char **attributes, const char *name) {
    for (; *attributes; attributes += 2) {
        if (strcmp(attributes[0], name) == 0) return attributes[1];
    }
    return NULL;
}

static uint8_t *decoded(const char *text, size_t *size) {
    struct base64_decode_ctx context;
    size_t n = strlen(text);
    uint8_t *data = malloc(BASE64_DECODE_LENGTH(n) + 1);
    assert_non_null(data);
    base64_decode_init(&context);
    assert_int_equal(base64_decode_update(&context, size, data, n, text), 1);
    assert_int_equal(base64_decode_final(&context), 1);
    return data;
}

static void start_of_drawing(void *context, const XML_Char *name, const XML_Char **attributes) {
    (void)context;
    (void)name;
    const char *link = attribute(attributes, "xlink:href");
    if (link) assert_int_equal(link[0], '#');
}

/* An image is in the file itself, and can be read. */
static void check_image(page *p, const XML_Char **attributes) {
    static const char JPEG[] = "data:image/jpeg;base64,";
    static const char SVG[] = "data:image/svg+xml;base64,";
    const char *source = attribute(attributes, "src");
    const char *words = attribute(attributes, "alt");
    size_t size;
    assert_non_null(source);
    assert_non_null(words);
    assert_true(strlen(words) > 20);
    p->n_images++;
    if (strncmp(source, JPEG, strlen(JPEG)) == 0) {
        tr_image image = {0};
        tr_error err = {0};
        uint8_t *data = decoded(source + strlen(JPEG), &size);
        assert_true(tr_image_decode(data, size, "photo", &image, &err));
        assert_int_equal(image.width, atoi(attribute(attributes, "width")));
        tr_image_release(&image);
        free(data);
        p->n_photos++;
    } else {
        assert_int_equal(strncmp(source, SVG, strlen(SVG)), 0);
        uint8_t *data = decoded(source + strlen(SVG), &size);
        XML_Parser parser = XML_ParserCreate(NULL);
        XML_SetStartElementHandler(parser, start_of_drawing);
        assert_int_equal(XML_Parse(parser, (const char *)data, (int)size, 1), XML_STATUS_OK);
        XML_ParserFree(parser);
        free(data);
        p->n_drawings++;
    }
}

static void start_element(void *context, const XML_Char *name, const XML_Char **attributes) {
    page *p = context;
    assert_null(attribute(attributes, "href"));
    assert_null(attribute(attributes, "onload"));
    if (strcmp(name, "img") == 0) {
        check_image(p, attributes);
    } else {
        assert_null(attribute(attributes, "src"));
    }
    assert_true(strcmp(name, "link") != 0 && strcmp(name, "iframe") != 0);
    if (strcmp(name, "html") == 0)
        p->has_language = strcmp(attribute(attributes, "lang"), "en") == 0;
    if (strcmp(name, "style") == 0) p->has_style = true;
    if (strcmp(name, "title") == 0) p->is_in_title = true;
    if (strcmp(name, "th") == 0) {
        assert_non_null(attribute(attributes, "scope"));
        p->n_heads++;
    }
    if (strcmp(name, "script") == 0) {
        assert_string_equal(attribute(attributes, "type"), "application/json");
        p->n_scripts++;
        p->json_out = open_memstream(&p->json, &p->json_size);
    }
}

static void end_element(void *context, const XML_Char *name) {
    page *p = context;
    if (strcmp(name, "title") == 0) p->is_in_title = false;
    if (strcmp(name, "script") == 0) {
        assert_int_equal(fclose(p->json_out), 0);
        p->json_out = NULL;
    }
}

static void text_within(void *context, const XML_Char *text, int n) {
    page *p = context;
    if (p->json_out) fwrite(text, 1, (size_t)n, p->json_out);
    if (p->is_in_title) strncat(p->title, text, (size_t)n);
}

/* p->json is the caller's (free). */
static void read_page(const char *path, page *p) {
    size_t size;
    char *data = read_file(path, &size);
    memset(p, 0, sizeof *p);
    XML_Parser parser = XML_ParserCreate("UTF-8");
    XML_SetUserData(parser, p);
    XML_SetElementHandler(parser, start_element, end_element);
    XML_SetCharacterDataHandler(parser, text_within);
    if (XML_Parse(parser, data, (int)size, 1) != XML_STATUS_OK) {
        fail_msg("%s:%lu: %s", path, XML_GetCurrentLineNumber(parser),
                 XML_ErrorString(XML_GetErrorCode(parser)));
    }
    XML_ParserFree(parser);
    assert_int_equal(strncmp(data, "<!DOCTYPE html>", 15), 0);
    check_lacks(data, "http:");
    check_lacks(data, "https:");
    check_lacks(data, "@import");
    check_lacks(data, "url(");
    free(data);
}

static void html_needs_no_other_file(void **state) {
    (void)state;
    page p;
    made m;
    size_t size;
    json_t *json = read_json("result.json");
    take(&m, json_incref(json));
    write_report(&m.report, "a.html");
    read_page("a.html", &p);
    assert_true(p.has_language && p.has_style);
    assert_int_equal(p.n_images, 3);
    assert_int_equal(p.n_photos, 1);
    assert_int_equal(p.n_drawings, 2);
    assert_int_equal(p.n_scripts, 1);
    assert_true(p.n_heads > 20);
    json_t *carried = json_loads(p.json, 0, NULL);
    assert_non_null(carried);
    assert_true(json_equal(carried, json));
    char *data = read_file("a.html", &size);
    check_numbers(json, data, false, 1, 1); /* those of drawings are outlines: the table has them */
    for (int i = 0; i < m.result.n_photos; i++) check_has(data, m.result.photos[i].sha256);
    free(data);
    json_decref(carried);
    json_decref(json);
    free(p.json);
    release(&m);
}

/* Names are shown as they are, whatever they would mean elsewhere. */
static void names_are_no_markup(void **state) {
    (void)state;
    static const char JOB[] = "J</title><script>alert(1)</script>\"'";
    static const char VEHICLE[] = "</script><!-- <b>Öl & Söhne</b> ]]> \xF0\x9F\x9A\x97";
    page p;
    made m;
    json_t *json = read_json("result.json");
    json_object_set_new(json, "job", json_string(JOB));
    json_object_set_new(json, "vehicle", json_string(VEHICLE));
    json_object_set_new(json, "technician", json_string("A & B <c>"));
    take(&m, json_incref(json));
    write_report(&m.report, "names.html");
    read_page("names.html", &p);
    assert_int_equal(p.n_scripts, 1);
    check_has(p.title, JOB);
    json_t *carried = json_loads(p.json, 0, NULL);
    assert_non_null(carried);
    assert_true(json_equal(carried, json));
    write_report(&m.report, "names.pdf");
    char *text = text_of_pdf("names.pdf");
    check_has(text, JOB);
    check_has(text, "</script><!-- <b>Öl & Söhne</b> ]]>");
    check_has(text, "A & B <c>");
    free(text);
    json_decref(carried);
    json_decref(json);
    free(p.json);
    release(&m);
}

/* ---- Warnings ---- */

/* Not on another page, below axes that all pass. */
static void what_rules_out_a_pass_is_below_the_verdict(void **state) {
    (void)state;
    made m;
    json_t *json = read_json("result.json");
    json_object_set_new(json, "verdict", json_string("inconclusive"));
    json_array_append_new(json_object_get(json, "warnings"),
                          json_pack("{s:s, s:s, s:b, s:s, s:{s:s, s:s}}", "code",
                                    "precondition_missing", "text", "", "blocks_pass", 1, "variant",
                                    "PRECONDITION_MISSING", "arguments", "text", "Wheels on stands",
                                    "id", "stands"));
    take(&m, json);
    write_report(&m.report, "blocked.pdf");
    char *text = printed_by("pdftotext -raw blocked.pdf -", NULL);
    check_has(text, "A warning rules out a pass.\n! The layout requires");
    assert_int_equal(count(text, "Wheels on stands"), 1);
    assert_true(strstr(text, "Wheels on stands") < strstr(text, "SMALL-REAR"));
    check_has(text, "Other warnings\nNone.");
    free(text);
    release(&m);
}

static void a_pass_tells_of_its_warnings(void **state) {
    (void)state;
    made m;
    json_t *json = read_json("result.json");
    json_array_append_new(json_object_get(json, "warnings"),
                          json_pack("{s:s, s:s, s:b, s:s, s:{s:s, s:f}}", "code",
                                    "lens_unconfirmed", "text", "", "blocks_pass", 0, "variant",
                                    "LENS_NEVER_CONFIRMED", "arguments", "lens", "small",
                                    "wanted_hours", 24.0));
    int n = (int)json_array_size(json_object_get(json, "warnings"));
    take(&m, json);
    write_report(&m.report, "warned.pdf");
    char *text = text_of_pdf("warned.pdf");
    char said[64];
    snprintf(said, sizeof said, "With %d warnings, see below.", n);
    check_has(text, n == 1 ? "With a warning, see below." : said);
    check_has(text, "No record tells when lens profile 'small'");
    free(text);
    release(&m);
}

/* The variance factor is that of all marks: large beside a measurement that left the wrong ones
 * out.
 */
static void the_variance_factor_says_of_what(void **state) {
    (void)state;
    static const char *const SAID[] = {"No mark was left out.", "with the one that contradicts",
                                       "with the 2 that contradict"};
    for (int i = 0; i < 3; i++) {
        made m;
        json_t *json = read_json("result.json");
        json_object_set_new(json, "left_out", json_integer(i));
        take(&m, json);
        write_report(&m.report, "factor.pdf");
        char *text = printed_by("pdftotext -raw factor.pdf - | tr '\\n' ' '", NULL);
        check_has(text, SAID[i]);
        free(text);
        release(&m);
    }
}

/* ---- Before and after ---- */

static void a_second_report_says_what_was_moved(void **state) {
    (void)state;
    made before, after;
    char row[256];
    json_t *json = read_json("result.json");
    json_t *first = json_deep_copy(json);
    json_t *x = axis_of(first, "x_mm");
    double error = number_of(x, "error");
    double u95 = number_of(x, "u95");
    json_object_set_new(x, "error", json_real(error + 37.5));
    json_object_set_new(x, "measured", json_real(number_of(x, "measured") + 37.5));
    json_object_set_new(x, "verdict", json_string("fail"));
    take(&before, first);
    take(&after, json);
    after.report.before = &before.result;
    write_report(&after.report, "after.pdf");
    char *text = text_of_pdf("after.pdf");
    check_has(text, "Before and after");
    snprintf(row, sizeof row, "−37.5 ±%.1f", sqrt(2) * u95);
    check_has(text, row);
    snprintf(row, sizeof row, "%s ±%.1f", shown(error + 37.5, 1, "+"), u95);
    check_has(text, row);
    free(text);
    release(&before);
    release(&after);
}

/* Angles are compared the shorter way round. */
static void a_turn_past_half_a_turn_is_small(void **state) {
    (void)state;
    made before, after;
    json_t *json = read_json("result.json");
    json_t *first = json_deep_copy(json);
    json_object_set_new(axis_of(first, "yaw_deg"), "measured", json_real(179.75));
    json_object_set_new(axis_of(json, "yaw_deg"), "measured", json_real(-179.5));
    take(&before, first);
    take(&after, json);
    after.report.before = &before.result;
    write_report(&after.report, "turn.pdf");
    char *text = text_of_pdf("turn.pdf");
    check_has(text, "+0.75 ±");
    free(text);
    release(&before);
    release(&after);
}

/* ---- The command ---- */

static void a_job_is_measured(void **state) {
    (void)state;
    json_t *json = read_json("result.json");
    free(run("report job.yaml --out job.html --threads 2", PASS));
    size_t size;
    char *data = read_file("job.html", &size);
    check_numbers(json, data, false, 1, 1);
    check_has(data, "not kept: this is no record");
    check_has(data, "<td>504 x 378 px</td>");
    check_has(data, "job.yaml");
    free(data);
    json_decref(json);
}

static void the_shop_says_unit_and_paper(void **state) {
    (void)state;
    free(printed_by("mkdir -p inches && cp result.json inches/", NULL));
    small_text(home, "inches/trammel.yaml", "shop: Bay 3\nunits: inch\npaper: Letter\n");
    free(run("report inches/result.json --out shop.pdf", PASS));
    char *text = text_of_pdf("shop.pdf");
    check_has(text, "X forward, in");
    check_has(text, "Bay 3");
    free(text);
    free(run("report inches/result.json --out shop.pdf --units mm --paper A4", PASS));
    text = text_of_pdf("shop.pdf");
    check_has(text, "X forward, mm");
    free(text);
    char *info = printed_by("pdfinfo shop.pdf", NULL);
    check_has(info, "(A4)");
    free(info);
}

/* A record tells the shop's name. */
static void the_shop_of_a_record_is_that_of_then(void **state) {
    (void)state;
    free(printed_by("mkdir -p photos/bare && cp [1-4].jpg photos/bare/ && "
                    "sed '/^photos/,$d' job.yaml >bare.yaml",
                    NULL));
    small_text(home, "trammel.yaml", "shop: Bay 3\nkeep: true\n");
    free(run("check bare.yaml --store then.db", PASS));
    small_text(home, "trammel.yaml", "shop: Renamed\nkeep: true\n");
    free(run("report 1 --store then.db --out then.pdf", PASS));
    char *text = text_of_pdf("then.pdf");
    check_has(text, "Bay 3");
    check_lacks(text, "Renamed");
    free(text);
    assert_int_equal(unlink("trammel.yaml"), 0);
}

/* A report of a job says no more than its check. */
static void the_shop_asks_for_confirmed_lenses(void **state) {
    (void)state;
    small_text(home, "trammel.yaml",
               "shop: Bay 3\nkeep: true\nlens_check_hours: 24\nlens_check: demand\n");
    free(run("report job.yaml --out demanded.html", INCONCLUSIVE));
    size_t size;
    char *data = read_file("demanded.html", &size);
    check_has(data, "lens-check");
    check_has(data, "not kept: this is no record");
    free(data);
    assert_int_not_equal(access("records.db", F_OK), 0);
    free(run("check job.yaml --store other.db", INCONCLUSIVE));
    assert_int_equal(unlink("trammel.yaml"), 0);
}

static void no_measurement_has_a_report(void **state) {
    (void)state;
    small_text(home, "dark.yaml",
               "job: SMALL-1\nvehicle_id: 1M8GDM9A1KP042788\n"
               "lens: lens.yaml\nlayout: layout.yaml\n"
               "sheets: [mat.yaml, p0.yaml, p1.yaml, p2.yaml, p3.yaml]\n"
               "references:\n"
               "  - { point: rear-left, sheet: P-0 }\n"
               "  - { point: rear-right, sheet: P-1 }\n"
               "  - { point: front-left, sheet: P-2 }\n"
               "  - { point: front-right, sheet: P-3 }\n"
               "reference_sd_mm: 1.0\nphotos: [gone.jpg]\n");
    run_and_check("report dark.yaml --out dark.pdf", NO_MEASURE, "gone.jpg");
    char *text = run("report dark.yaml --out dark.pdf", NO_MEASURE);
    check_has(text, "Written: dark.pdf (no measurement)");
    check_lacks(text, "(pass)");
    free(text);
    text = text_of_pdf("dark.pdf");
    check_has(text, "NO MEASUREMENT");
    check_has(text, "no proof of any placement");
    check_has(text, "gone.jpg");
    check_has(text, "None of the photos can be used"); /* a sentence has a capital */
    check_has(text, "The VIN 1M8GDM9A1KP042788 is not well formed, or its check digit");
    check_lacks(text, "PASS");
    free(text);
}

static void wrong_words_are_refused(void **state) {
    (void)state;
    static const struct {
        const char *words, *said;
        int status;
    } WRONG[] = {
        {"report", "name a record, a job file, or a result", USAGE},
        {"report result.json", "'--out' is missing", USAGE},
        {"report result.json more --out a.pdf", "one word too many", USAGE},
        {"report result.json --out a.png", "ends in .pdf or .html", USAGE},
        {"report result.json --out w.pdf --paper A5", "neither A4 nor Letter", USAGE},
        {"report result.json --out w.pdf --units cm", "neither mm nor inch", USAGE},
        {"report 17 --out w.pdf", "there is no store here", NO_MEASURE},
        {"report none.json --out w.pdf", "none.json", NO_MEASURE},
        {"report bad.json --out w.pdf", "bad.json:2", NO_MEASURE},
        {"report other.json --out w.pdf", "other.json", NO_MEASURE},
        {"report result.json --before other-job.json --out w.pdf",
         "is of job OTHER, not of job SMALL-1", NO_MEASURE},
    };
    json_t *json = read_json("result.json");
    json_object_set_new(json, "job", json_string("OTHER"));
    write_json(json, "other-job.json");
    json_decref(json);
    temp_write("bad.json", "{\n]", 3);
    temp_write("other.json", "{\"job\": 3}", 10);
    for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++)
        run_and_check(WRONG[i].words, WRONG[i].status, WRONG[i].said);
    assert_int_equal(access("w.pdf", F_OK), -1);
}

static void no_input_is_replaced(void **state) {
    (void)state;
    size_t size;
    char *before = read_file("result.json", &size);
    free(printed_by("cp result.json copy.json && ln -sf copy.json link.pdf", NULL));
    run_and_check("report copy.json --out link.pdf", USAGE, "would replace one of the input files");
    char *after = read_file("copy.json", &size);
    assert_string_equal(before, after);
    free(before);
    free(after);
}

/* A photo that is another now is not shown as the one that was measured. */
static void a_changed_photo_is_not_shown(void **state) {
    (void)state;
    made m;
    free(printed_by("mkdir -p changed && cp [1-4].jpg result.json changed/ && "
                    "for i in 1 2 3 4; do printf x >>changed/$i.jpg; done",
                    NULL));
    assert_int_equal(chdir("changed"), 0);
    take(&m, read_json("result.json"));
    write_report(&m.report, "changed.pdf");
    char *images = printed_by("pdfimages -list changed.pdf | tail -n +3", NULL);
    assert_string_equal(images, "");
    char *text = printed_by("pdftotext -raw changed.pdf -", NULL);
    check_has(text, ".jpg");
    check_has(text, "has changed since it was");
    free(text);
    free(images);
    release(&m);
    assert_int_equal(chdir(home), 0);
}

/* ---- Lengths in inches ---- */

static void sentences_are_in_inches(void **state) {
    (void)state;
    static const char *const CASES[][2] = {
        {"Slide the mat 14 mm forward and 4 mm to the right.",
         "Slide the mat 0.55 in forward and 0.16 in to the right."},
        {"12.5 mm", "0.492 in"},
        {"up to 1200 mm: no photo", "up to 47.24 in: no photo"},
        {"a slope of 3 mm/m", "a slope of 3 mm/m"},
        {"sheet_7 mm", "sheet_7 mm"},
        {"MAT7 mm", "MAT7 mm"},
        {"3 mmx", "3 mmx"},
        {"no length", "no length"},
        {"", ""},
        {"1.2.3 mm", "1.2.3 mm"},
    };
    char out[128];
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        tr_sentence_in(TR_INCH, CASES[i][0], out, sizeof out);
        assert_string_equal(out, CASES[i][1]);
        tr_sentence_in(TR_MM, CASES[i][0], out, sizeof out);
        assert_string_equal(out, CASES[i][0]);
    }
    char small[12];
    tr_sentence_in(TR_INCH, "within 12.5 mm of it", small, sizeof small);
    assert_string_equal(small, "within 0.49");
}

/* Who does the sum with the numbers of a row comes to the verdict beside it. */
static void inches_lead_to_the_same_verdict(void **state) {
    (void)state;
    enum { N = 20000 };
    uint64_t random = 1;
    for (int i = 0; i < N; i++) {
        double part[3];
        for (int k = 0; k < 3; k++) {
            random = random * 6364136223846793005u + 1442695040888963407u;
            part[k] = (double)(random >> 33) / 0x1p31;
        }
        double limit = 1 + floor(20 * part[0]);
        double u95 = limit * part[1];
        /* Within 0.02 mm of where the verdict changes. */
        double error = limit + (i % 2 ? u95 : -u95) + 0.04 * (part[2] - 0.5);
        const tr_axis_result r = {.is_required = true,
                                  .is_judged = true,
                                  .is_measured = true,
                                  .required = 0,
                                  .limit = limit,
                                  .measured = error,
                                  .error = error,
                                  .u95 = u95,
                                  .verdict = tr_verdict_decide(error, u95, limit)};
        tr_axis_cells c;
        tr_axis_cells_in(TR_INCH, TR_X, &r, &c);
        double shown_error = strtod(c.error, NULL);
        double shown_u95 = strtod(c.u95 + strlen("±"), NULL);
        double shown_limit = strtod(c.limit + strlen("±"), NULL);
        const char *point = strchr(c.limit, '.');
        assert_non_null(point);
        /* Sums of decimals: what is equal in print is equal. */
        double unit = pow(10, (double)(strlen(point) - 1));
        tr_verdict verdict = tr_verdict_decide(round(shown_error * unit), round(shown_u95 * unit),
                                               round(shown_limit * unit));
        if (strlen(point) - 1 < 5 && verdict != r.verdict)
            fail_msg("%s %s within %s", c.error, c.u95, c.limit);
    }
}

/* ---- Drawings ---- */

static void a_large_offset_is_drawn_to_scale(void **state) {
    (void)state;
    made m;
    json_t *json = read_json("result.json");
    json_t *target = json_array_get(json_object_get(json, "targets"), 0);
    json_t *pose = json_object_get(target, "required_pose");
    json_array_set_new(pose, 3, json_real(json_number_value(json_array_get(pose, 3)) - 900));
    take(&m, json);
    write_report(&m.report, "scale.pdf");
    char *text = printed_by("pdftotext -raw scale.pdf -", NULL);
    check_has(text, "Offset drawn to scale");
    check_lacks(text, "1 times");
    free(text);
    release(&m);
}

/* ---- Pages ---- */

/* Nothing leaves the page: words lie within its margins, and rows of many photos are all there. */
static void long_lists_go_over_pages(void **state) {
    (void)state;
    enum { N = 90 };
    made m;
    json_t *json = read_json("result.json");
    json_t *photos = json_object_get(json, "photos");
    for (int i = 0; i < N; i++) {
        json_t *one = json_deep_copy(json_array_get(photos, 0));
        char name[64];
        snprintf(name, sizeof name, "extra/a-rather-long-name-%03d.jpg", i);
        json_object_set_new(one, "file", json_string(name));
        json_object_set_new(one, "name", json_string(name));
        json_array_append_new(photos, one);
    }
    take(&m, json);
    m.report.paper = TR_PAPER_LETTER;
    write_report(&m.report, "long.pdf");
    char *text = printed_by("pdftotext -raw long.pdf -", NULL);
    for (int i = 0; i < N; i++) {
        char name[64];
        snprintf(name, sizeof name, "a-rather-long-name-%03d.jpg", i);
        check_has(text, name);
    }
    check_has(text, "Photos: 94 of 94 used");
    free(text);
    char *words = printed_by("pdftotext -bbox long.pdf -", NULL);
    int n = 0;
    for (const char *at = strstr(words, "<word "); at; at = strstr(at + 1, "<word ")) {
        double x0, y0, x1, y1;
        assert_int_equal(sscanf(at, "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\"",
                                &x0, &y0, &x1, &y1),
                         4);
        CHECK_AT_MOST(30, x0);
        CHECK_AT_MOST(25, y0);
        CHECK_AT_MOST(x1, 612 - 30);
        CHECK_AT_MOST(y1, 792 - 15);
        n++;
    }
    assert_true(n > 500);
    free(words);
    release(&m);
}

/* Where something stands on the page, in points. */
typedef struct {
    double x0, y0, x1, y1;
} place;

/* Of a word that is there. */
static place place_of(const char *words, const char *word) {
    char shown[64];
    place p;
    snprintf(shown, sizeof shown, ">%s</word>", word);
    const char *at = strstr(words, shown);
    if (!at) fail_msg("'%s' is not on the page", word);
    while (strncmp(at, "<word ", 6) != 0) at--;
    assert_int_equal(sscanf(at, "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\"", &p.x0,
                            &p.y0, &p.x1, &p.y1),
                     4);
    return p;
}

/* Two pages for a usual job, in every language and on every paper, with every verdict; in the head
   nothing lies over what is below it, and the vehicle's number is whole. */
static void a_usual_job_takes_two_pages(void **state) {
    (void)state;
    static const char *const LANGUAGES[] = {"en", "de", "es"};
    static const char *const PAPERS[] = {"A4", "Letter"};
    static const char *const VERDICTS[] = {"pass", "fail", "inconclusive"};
    static const char SHOP[] = "Workshop-at-the-bridge";
    small_text(home, "trammel.yaml", "shop: Workshop-at-the-bridge\n");
    for (int v = 0; v < 3; v++) {
        json_t *json = read_json("result.json");
        json_object_set_new(json, "verdict", json_string(VERDICTS[v]));
        write_json(json, "usual.json");
        json_decref(json);
        for (int i = 0; i < 6; i++) {
            char command[128];
            setenv("TRAMMEL_LANGUAGE", LANGUAGES[i / 2], 1);
            snprintf(command, sizeof command,
                     "report usual.json --before result.json --out "
                     "usual.pdf --paper %s",
                     PAPERS[i % 2]);
            free(run(command, v));
            char *info = printed_by("pdfinfo usual.pdf", NULL);
            check_has(info, "Pages:           2");
            free(info);
            char *words = printed_by("pdftotext -bbox -l 1 usual.pdf -", NULL);
            place shop = place_of(words, SHOP);
            place layout = place_of(words, "SMALL-REAR");
            place_of(words, "1M8GDM9AXKP042788");
            CHECK_AT_MOST(shop.y1 + 18, layout.y0); /* the rule and a line are in between */
            free(words);
        }
    }
    setenv("TRAMMEL_LANGUAGE", "en", 1);
    assert_int_equal(unlink("trammel.yaml"), 0);
}

/* ---- All tests ---- */

static int set_up(void **state) {
    (void)state;
    temp_make(home);
    small_job_make(home);
    if (chdir(home) != 0) return -1;
    char *said = run("check job.yaml --json >result.json", PASS);
    free(said);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    if (chdir("/") != 0) return -1;
    if (getenv("TRAMMEL_SHOW")) {
        print_message("kept in %s\n", home);
    } else {
        char command[TEMP_SIZE + 16];
        snprintf(command, sizeof command, "rm -r '%s'", home);
        return system(command) == 0 ? 0 : -1;
    }
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(paper_has_its_size),
        cmocka_unit_test(fonts_and_photo_are_in_it),
        cmocka_unit_test(the_result_is_attached),
        cmocka_unit_test(numbers_are_those_of_the_result),
        cmocka_unit_test(what_it_says_is_there),
        cmocka_unit_test(a_record_is_told),
        cmocka_unit_test(preconditions_are_told),
        cmocka_unit_test(a_confirmation_alone_is_enough),
        cmocka_unit_test(same_result_same_bytes),
        cmocka_unit_test(html_needs_no_other_file),
        cmocka_unit_test(names_are_no_markup),
        cmocka_unit_test(what_rules_out_a_pass_is_below_the_verdict),
        cmocka_unit_test(a_pass_tells_of_its_warnings),
        cmocka_unit_test(the_variance_factor_says_of_what),
        cmocka_unit_test(a_second_report_says_what_was_moved),
        cmocka_unit_test(a_turn_past_half_a_turn_is_small),
        cmocka_unit_test(a_job_is_measured),
        cmocka_unit_test(the_shop_says_unit_and_paper),
        cmocka_unit_test(the_shop_of_a_record_is_that_of_then),
        cmocka_unit_test(the_shop_asks_for_confirmed_lenses),
        cmocka_unit_test(no_measurement_has_a_report),
        cmocka_unit_test(wrong_words_are_refused),
        cmocka_unit_test(no_input_is_replaced),
        cmocka_unit_test(a_changed_photo_is_not_shown),
        cmocka_unit_test(sentences_are_in_inches),
        cmocka_unit_test(inches_lead_to_the_same_verdict),
        cmocka_unit_test(a_large_offset_is_drawn_to_scale),
        cmocka_unit_test(long_lists_go_over_pages),
        cmocka_unit_test(a_usual_job_takes_two_pages),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
