/* Help and manual pages against the program: the keys of the formats against their readers, the
   options against the commands. The calls of yaml.h that a reader makes are seen on their way
   (the linker's --wrap), so that nobody need repeat its keys here. */
#include "check.h"
#include "temp.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/wrap.h"
#include "base/yaml.h"
#include "help/pages.h"
#include "help/roff.h"
#include "help/text.h"
#include "job/job.h"
#include "lens/profile.h"
#include "plan/plan.h"
#include "plan/stations.h"
#include "present/check_json.h"
#include "present/plan_json.h"
#include "present/survey_json.h"
#include "sheet/sheet.h"
#include "shop/shop.h"
#include "survey/spec.h"
#include "tools/simulate/rolled.h"
#include "tools/simulate/survey_sim.h"

enum { PATH_SIZE = 96, MAX_VALUES = 4096, MAX_KEYS = 512, MAX_WORDS = 256 };

/* ---- What readers ask for ---- */

/* A value of an open file, and the path of keys to it, without numbers: "tags[].id". */
typedef struct {
    tr_yaml y;
    char path[PATH_SIZE];
} value;

typedef struct {
    const tr_help_format *format;
    char path[PATH_SIZE];
    bool is_needed; /* in every mapping that the reader takes there */
} seen_key;

typedef struct {
    const tr_help_format *format;
    char path[PATH_SIZE], word[PATH_SIZE];
} seen_word;

static struct {
    value values[MAX_VALUES];
    int n_values;
    seen_key keys[MAX_KEYS];
    int n_keys;
    seen_word words[MAX_WORDS];
    int n_words;
    struct {
        const tr_yaml_file *file;
        const tr_help_format *format;
    } open[16];
    int n_open;
} seen;

tr_yaml __real_tr_yaml_open(const char *path);
bool __real_tr_yaml_close(tr_yaml y, tr_error *err);
tr_yaml __real_tr_yaml_at(tr_yaml y, const char *key);
tr_yaml __real_tr_yaml_item(tr_yaml y, int i);
void __real_tr_yaml_keys(tr_yaml y, const char *keys);
int __real_tr_yaml_choice(tr_yaml y, const char *const *words, int n);
tr_yaml __wrap_tr_yaml_open(const char *path);
bool __wrap_tr_yaml_close(tr_yaml y, tr_error *err);
tr_yaml __wrap_tr_yaml_at(tr_yaml y, const char *key);
tr_yaml __wrap_tr_yaml_item(tr_yaml y, int i);
void __wrap_tr_yaml_keys(tr_yaml y, const char *keys);
int __wrap_tr_yaml_choice(tr_yaml y, const char *const *words, int n);

static bool ends_in(const char *text, const char *end) {
    size_t n = strlen(text);
    size_t k = strlen(end);
    return n >= k && strcmp(text + n - k, end) == 0;
}

/* The format that this file is an example of; NULL: of none. */
static const tr_help_format *format_of_file(const char *path) {
    for (int i = 0; tr_help_formats[i]; i++) {
        for (const tr_help_example *e = tr_help_formats[i]->examples; e->name; e++) {
            if (ends_in(path, e->name)) return tr_help_formats[i];
        }
    }
    return NULL;
}

static const tr_help_format *format_of(tr_yaml y) {
    for (int i = 0; i < seen.n_open; i++) {
        if (seen.open[i].file == y.file) return seen.open[i].format;
    }
    return NULL;
}

static const char *path_of(tr_yaml y) {
    for (int i = 0; i < seen.n_values; i++) {
        if (seen.values[i].y.file == y.file && seen.values[i].y.node == y.node)
            return seen.values[i].path;
    }
    return "";
}

static void remember(tr_yaml parent, tr_yaml y, const char *key) {
    if (!tr_yaml_has(y) || !format_of(y) || *path_of(y)) return;
    assert_true(seen.n_values < MAX_VALUES);
    char path[2 * PATH_SIZE];
    const char *above = path_of(parent);
    const char *dot = *above && strcmp(key, "[]") != 0 ? "." : "";
    snprintf(path, sizeof path, "%s%s%s", above, dot, key);
    assert_true(strlen(path) < PATH_SIZE);
    value *v = &seen.values[seen.n_values++];
    v->y = y;
    memcpy(v->path, path, strlen(path) + 1);
}

tr_yaml __wrap_tr_yaml_open(const char *path) {
    tr_yaml y = __real_tr_yaml_open(path);
    if (seen.n_open == 16 || !y.file) return y;
    seen.open[seen.n_open].file = y.file;
    seen.open[seen.n_open++].format = format_of_file(path);
    return y;
}

bool __wrap_tr_yaml_close(tr_yaml y, tr_error *err) {
    int n = 0;
    for (int i = 0; i < seen.n_values; i++) {
        if (seen.values[i].y.file != y.file) seen.values[n++] = seen.values[i];
    }
    seen.n_values = n;
    n = 0;
    for (int i = 0; i < seen.n_open; i++) {
        if (seen.open[i].file != y.file) seen.open[n++] = seen.open[i];
    }
    seen.n_open = n;
    return __real_tr_yaml_close(y, err);
}

tr_yaml __wrap_tr_yaml_at(tr_yaml y, const char *key) {
    tr_yaml at = __real_tr_yaml_at(y, key);
    remember(y, at, key);
    return at;
}

tr_yaml __wrap_tr_yaml_item(tr_yaml y, int i) {
    tr_yaml item = __real_tr_yaml_item(y, i);
    remember(y, item, "[]");
    return item;
}

static void remember_key(const tr_help_format *format, const char *above, const char *key, size_t n,
                         bool is_needed) {
    char path[2 * PATH_SIZE];
    snprintf(path, sizeof path, "%s%s%.*s", above, *above ? "." : "", (int)n, key);
    assert_true(strlen(path) < PATH_SIZE);
    for (int i = 0; i < seen.n_keys; i++) {
        seen_key *k = &seen.keys[i];
        if (k->format != format || strcmp(k->path, path) != 0) continue;
        k->is_needed = k->is_needed && is_needed;
        return;
    }
    assert_true(seen.n_keys < MAX_KEYS);
    seen_key *k = &seen.keys[seen.n_keys++];
    *k = (seen_key){.format = format, .is_needed = is_needed};
    memcpy(k->path, path, strlen(path) + 1);
}

void __wrap_tr_yaml_keys(tr_yaml y, const char *keys) {
    const tr_help_format *format = format_of(y);
    for (const char *key = keys; format && tr_yaml_has(y) && *key;) {
        size_t n = strcspn(key, " ?");
        remember_key(format, path_of(y), key, n, key[n] != '?');
        key += n + (key[n] == '?');
        key += strspn(key, " ");
    }
    __real_tr_yaml_keys(y, keys);
}

int __wrap_tr_yaml_choice(tr_yaml y, const char *const *words, int n) {
    const tr_help_format *format = format_of(y);
    for (int i = 0; format && tr_yaml_has(y) && i < n; i++) {
        assert_true(seen.n_words < MAX_WORDS);
        seen_word *w = &seen.words[seen.n_words++];
        w->format = format;
        snprintf(w->path, PATH_SIZE, "%s", path_of(y));
        snprintf(w->word, PATH_SIZE, "%s", words[i]);
    }
    return __real_tr_yaml_choice(y, words, n);
}

/* ---- The examples, read ---- */

static void write_file(const char *folder, const char *name, const char *text) {
    char path[TEMP_SIZE];
    temp_write(temp_path(path, folder, name), text, strlen(text));
}

/* The examples, and the sheets that the jobs name beside them. */
static void write_examples(const char *folder) {
    static const char *const FOLDERS[] = {"lens", "layouts", "sheets", "bars", "shop"};
    char path[TEMP_SIZE];
    for (int i = 0; i < 5; i++) {
        assert_int_equal(mkdir(temp_path(path, folder, FOLDERS[i]), 0700), 0);
    }
    for (int i = 0; tr_help_formats[i]; i++) {
        for (const tr_help_example *e = tr_help_formats[i]->examples; e->name; e++) {
            write_file(folder, e->name, e->text);
        }
    }
    for (int i = 0; i < 4; i++) {
        char name[32], text[256];
        snprintf(name, sizeof name, "sheets/plate-%c.yaml", 'a' + i);
        snprintf(text, sizeof text,
                 "sheet: PLATE-%c\ntitle: T\nkind: plate\nsize_mm: [210, 297]\n"
                 "tag_family: tag36h11\ntags:\n  - { id: %d, centre_mm: [0, 0], size_mm: 100 }\n",
                 'A' + i, i + 1);
        write_file(folder, name, text);
    }
    static const char *const OTHERS[][3] = {
        {"board-1", "BOARD-1", "board"}, {"board-2", "BOARD-2", "board"},
        {"hub-fl", "HUB-FL", "hub"},     {"hub-fr", "HUB-FR", "hub"},
        {"hub-rl", "HUB-RL", "hub"},     {"hub-rr", "HUB-RR", "hub"}};
    for (int i = 0; i < 6; i++) {
        char name[32], text[256];
        snprintf(name, sizeof name, "sheets/%s.yaml", OTHERS[i][0]);
        snprintf(text, sizeof text,
                 "sheet: %s\ntitle: T\nkind: %s\nsize_mm: [300, 300]\n"
                 "tag_family: tag36h11\ntags:\n  - { id: %d, centre_mm: [0, 0], size_mm: 100 }\n",
                 OTHERS[i][1], OTHERS[i][2], 200 + i);
        write_file(folder, name, text);
    }
}

static bool read_example(const tr_help_format *format, const char *path, tr_error *err) {
    bool ok = false;
    if (format == &tr_help_shop) {
        tr_shop shop;
        ok = tr_shop_read(path, &shop, err);
        tr_shop_release(&shop);
    } else if (format == &tr_help_job) {
        tr_job job;
        ok = tr_job_read(path, &job, err);
        tr_job_release(&job);
    } else if (format == &tr_help_layout) {
        tr_layout layout;
        ok = tr_layout_read(path, &layout, err);
        tr_layout_release(&layout);
    } else if (format == &tr_help_sheet) {
        tr_sheet sheet;
        ok = tr_sheet_read_any(path, &sheet, err);
        tr_sheet_release(&sheet);
    } else if (format == &tr_help_lens_profile) {
        tr_lens lens;
        ok = tr_lens_profile_read(path, &lens, err);
    } else if (format == &tr_help_survey_file) {
        tr_survey_spec spec;
        ok = tr_survey_spec_read(path, &spec, err);
        tr_survey_spec_release(&spec);
    } else if (format == &tr_help_stations) {
        tr_station *stations;
        int n;
        ok = tr_stations_read(path, 2, &stations, &n, err);
        free(stations);
    } else {
        /* A bar's file is read within a survey's: the example of that names this one. */
        ok = format == &tr_help_bar;
    }
    return ok;
}

static int read_examples(void **state) {
    (void)state;
    char folder[TEMP_SIZE], path[TEMP_SIZE];
    temp_make(folder);
    write_examples(folder);
    for (int i = 0; tr_help_formats[i]; i++) {
        for (const tr_help_example *e = tr_help_formats[i]->examples; e->name; e++) {
            tr_error err = {0};
            if (read_example(tr_help_formats[i], temp_path(path, folder, e->name), &err)) continue;
            print_error("%s:%d: '%s' %s\n", e->name, err.line, err.key, err.text);
            return 1;
        }
    }
    temp_remove(folder);
    return 0;
}

/* ---- Formats ---- */

static const tr_help_key *find_key(const tr_help_format *format, const char *path) {
    for (const tr_help_key *k = format->keys; k->path; k++) {
        if (strcmp(k->path, path) == 0) return k;
    }
    return NULL;
}

static void every_key_that_a_reader_knows_is_described(void **state) {
    (void)state;
    assert_true(seen.n_keys > 70);
    for (int i = 0; i < seen.n_keys; i++) {
        const seen_key *seen_here = &seen.keys[i];
        const tr_help_key *k = find_key(seen_here->format, seen_here->path);
        if (!k) fail_msg("%s: '%s' is not described", seen_here->format->name, seen_here->path);
        if (seen_here->is_needed == (k->otherwise == NULL)) continue;
        fail_msg("%s: '%s' is %s", seen_here->format->name, k->path,
                 seen_here->is_needed ? "needed" : "not needed");
    }
}

static void no_key_is_described_that_no_reader_knows(void **state) {
    (void)state;
    for (int f = 0; tr_help_formats[f]; f++) {
        for (const tr_help_key *k = tr_help_formats[f]->keys; k->path; k++) {
            bool is_known = tr_help_formats[f]->is_result; /* those are looked for below */
            for (int i = 0; i < seen.n_keys; i++) {
                is_known = is_known || (seen.keys[i].format == tr_help_formats[f] &&
                                        strcmp(seen.keys[i].path, k->path) == 0);
            }
            if (!is_known) fail_msg("%s: no reader knows '%s'", tr_help_formats[f]->name, k->path);
            assert_ptr_equal(find_key(tr_help_formats[f], k->path), k); /* only once */
        }
    }
}

static void every_word_of_a_choice_is_described(void **state) {
    (void)state;
    assert_true(seen.n_words > 10);
    for (int i = 0; i < seen.n_words; i++) {
        const seen_word *w = &seen.words[i];
        const tr_help_key *k = find_key(w->format, w->path);
        char quoted[PATH_SIZE + 2];
        snprintf(quoted, sizeof quoted, "`%.90s`", w->word);
        assert_non_null(k);
        if (!strstr(k->text, quoted))
            fail_msg("%s: '%s' may be %s", w->format->name, w->path, quoted);
    }
}

static void units_are_those_of_the_keys_names(void **state) {
    (void)state;
    static const char *const UNITS[][2] = {
        {"_mm", "mm"}, {"_deg", "degrees"}, {"_px", "pixels"}, {"_percent", "%"}};
    for (int f = 0; tr_help_formats[f]; f++) {
        for (const tr_help_key *k = tr_help_formats[f]->keys; k->path; k++) {
            for (int i = 0; i < 4; i++) {
                if (!ends_in(k->path, UNITS[i][0])) continue;
                assert_non_null(k->unit);
                assert_string_equal(k->unit, UNITS[i][1]);
            }
        }
    }
}

static void defaults_are_the_readers(void **state) {
    (void)state;
    static const char LAYOUT[] =
        "layout: L\nvehicle: V\naxes: rear-axle\nplacements:\n"
        "  - { sheet: M, from: rear-axle, x_mm: 0, y_mm: 0, yaw_deg: 0, limits: {} }\n";
    char folder[TEMP_SIZE], path[TEMP_SIZE];
    tr_layout layout;
    temp_make(folder);
    write_file(folder, "layout.yaml", LAYOUT);
    assert_true(tr_layout_read(temp_path(path, folder, "layout.yaml"), &layout, NULL));
    CHECK_NEAR(layout.reference_tolerance_mm,
               atof(find_key(&tr_help_layout, "reference_tolerance_mm")->otherwise), 0);
    CHECK_NEAR(layout.flatness_mm, atof(find_key(&tr_help_layout, "flatness_mm")->otherwise), 0);
    tr_layout_release(&layout);
    temp_remove(folder);
}

/* ---- Results ---- */

typedef struct {
    const tr_help_format *format;
    bool is_seen[MAX_KEYS];
} coverage;

/* The six axes, the lengths between wheels, the values of the floor and the arguments of warnings
 * are described once. */
static const char *name_of_group(const char *above, const char *key) {
    static const char *const AXES[] = {"x_mm", "y_mm", "z_mm", "yaw_deg", "pitch_deg", "roll_deg"};
    static const char *const LENGTHS[] = {"wheelbase_mm", "track_front_mm", "track_rear_mm"};
    if (ends_in(above, ".arguments")) return "NAME";
    if (strcmp(above, "wheels") == 0) return strchr(key, '-') ? "WHEEL" : "WHOLE";
    if (strcmp(above, "floor.plane") == 0 || strcmp(above, "floor.stand") == 0) return "SLOPE";
    for (int i = 0; i < TR_FLOOR_N && strcmp(above, "floor.sheets[]") == 0; i++) {
        if (strcmp(key, TR_FLOOR_KEYS[i].key) == 0) return "FLOOR";
    }
    for (int i = 0; i < 6; i++) {
        if (strcmp(key, AXES[i]) == 0) return "AXIS";
    }
    for (int i = 0; i < 3; i++) {
        if (strcmp(key, LENGTHS[i]) == 0) return "LENGTH";
    }
    return key;
}

static void cover(coverage *c, const char *above, json_t *json) {
    const char *key;
    json_t *item;
    size_t i;
    json_object_foreach(json, key, item) {
        char path[2 * PATH_SIZE];
        snprintf(path, sizeof path, "%s%s%s", above, *above ? "." : "", name_of_group(above, key));
        const tr_help_key *k = find_key(c->format, path);
        if (!k) fail_msg("%s: '%s' is not described", c->format->name, path);
        c->is_seen[k - c->format->keys] = true;
        /* Axes, and what findings are made of, are described where they first stand. */
        bool is_known = strcmp(path, "relations[].AXIS") == 0 || ends_in(path, ".SLOPE") ||
                        ends_in(path, "].why") || ends_in(path, "].parts");
        if (!is_known) cover(c, path, item);
    }
    json_array_foreach(json, i, item) {
        char path[2 * PATH_SIZE];
        snprintf(path, sizeof path, "%s[]", above);
        cover(c, path, item);
    }
}

static void check_all_seen(const coverage *c) {
    for (const tr_help_key *k = c->format->keys; k->path; k++) {
        if (!c->is_seen[k - c->format->keys]) fail_msg("%s: no '%s'", c->format->name, k->path);
    }
}

/* Runs the program in the source's testimages; what it prints is covered. */
static void cover_output(coverage *c, const char *arguments) {
    char line[4 * TEMP_SIZE];
    const char *program = getenv("TRAMMEL_PROGRAM");
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_true(program && source);
    snprintf(line, sizeof line, "cd '%s/testimages' && '%s' %s --json 2>/dev/null", source, program,
             arguments);
    FILE *from = popen(line, "r");
    assert_non_null(from);
    json_t *json = json_loadf(from, 0, NULL);
    pclose(from);
    if (!json) fail_msg("%s prints no JSON", arguments);
    cover(c, "", json);
    json_decref(json);
}

/* The demo's job with other lenses, its paths made absolute. */
static void write_job(const char *path, const char *lens) {
    const char *source = getenv("TRAMMEL_SOURCE");
    FILE *to = fopen(path, "w");
    assert_non_null(to);
    fprintf(to, "job: J\nlens: %s\nlayout: %s/testimages/layouts/demo-rear.yaml\nsheets:\n", lens,
            source);
    fprintf(to, "  - %s/testimages/sheets/mat-7.yaml\n", source);
    for (int plate = 'a'; plate <= 'd'; plate++) {
        fprintf(to, "  - %s/testimages/sheets/plate-%c.yaml\n", source, plate);
    }
    fputs("references:\n"
          "  - { point: rear-left, sheet: PLATE-A }\n"
          "  - { point: rear-right, sheet: PLATE-B }\n"
          "  - { point: front-left, sheet: PLATE-C }\n"
          "  - { point: front-right, sheet: PLATE-D }\n"
          "reference_sd_mm: 1\n",
          to);
    assert_int_equal(fclose(to), 0);
}

/* Its x and y count from different places, so that both are named. */
static void add_free_area(tr_layout *layout) {
    static const tr_vec2 CORNERS[3] = {{600, 400}, {1200, 400}, {600, -400}};
    tr_free_area *area = calloc(1, sizeof *area);
    assert_non_null(area);
    area->from[0].kind = TR_FROM_FRONT_AXLE;
    area->height_mm = 300;
    area->n_corners = 3;
    area->corners_mm = malloc(sizeof CORNERS);
    assert_non_null(area->corners_mm);
    memcpy(area->corners_mm, CORNERS, sizeof CORNERS);
    layout->free_areas = area;
    layout->n_free_areas = 1;
}

static void add_precondition(tr_layout *layout) {
    layout->preconditions = calloc(1, sizeof *layout->preconditions);
    assert_non_null(layout->preconditions);
    layout->preconditions[0] = (tr_precondition){"tank-full", "Tank full", true};
    layout->n_preconditions = 1;
}

/* Wheels, relations, free areas, preconditions, coordinates that count from different places: those
 * of a simulated job. */
static void cover_wheels(coverage *c) {
    tr_rolled_options o = {.seed = 1,
                           .n_positions = 2,
                           .reference_sd_mm = 1,
                           .hub_tilt_sd_rad = 0.005,
                           .floor_sd_mm = 1,
                           .has_emblem = true,
                           .is_steady = true};
    tr_rolled r;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.layout.thrust_limit_rad = 0.01;
    for (int k = 0; k < TR_N_FLOOR_LIMITS; k++) r.job.layout.floor_limit[k] = 0.01;
    r.job.level = (tr_level){.is_given = true, .sheet = -1, .sd_rad = 0.001};
    r.job.layout.placements[1].from[2] = (tr_origin){TR_FROM_POINT, "emblem", TR_N_POINTS};
    add_free_area(&r.job.layout);
    add_precondition(&r.job.layout);
    assert_true(tr_check_evaluate(&r.job, &r.check, &err));
    assert_true(tr_check_finish(&r.check, NULL, &err));
    r.check.result.identity = (tr_identity){.is_asked = true,
                                            .vehicle = "1M8GDM9AXKP042788",
                                            .sheets = calloc(1, sizeof(tr_label_result)),
                                            .codes = calloc(1, sizeof(tr_code_result)),
                                            .n_sheets = 1,
                                            .n_codes = 1};
    assert_true(r.check.result.identity.sheets && r.check.result.identity.codes);
    json_t *json = tr_check_json(&r.check.result);
    assert_non_null(json);
    cover(c, "", json);
    json_decref(json);
    tr_rolled_release(&r);
}

static void every_key_of_a_check_is_described(void **state) {
    (void)state;
    coverage c = {.format = &tr_help_check_result};
    char folder[TEMP_SIZE], path[TEMP_SIZE], lenses[2 * TEMP_SIZE], line[2 * TEMP_SIZE];
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    temp_make(folder);
    temp_path(path, folder, "job.yaml");
    cover_output(&c, "check demo-fail.yaml");
    cover_output(&c, "check no-such-job.yaml");
    cover_wheels(&c);
    write_job(path, "unknown");
    snprintf(line, sizeof line, "check '%s' demo-pass/*.jpg", path);
    cover_output(&c, line);
    /* Both profiles fit each photo, so that none is used. */
    snprintf(lenses, sizeof lenses, "[%s/testimages/lens/demo-phone.yaml, %s/testimages/%s]",
             source, source, "lens/demo-phone-true.yaml");
    write_job(path, lenses);
    cover_output(&c, line);
    check_all_seen(&c);
    temp_remove(folder);
}

/* A plan with relations, of a vehicle that is rolled. */
static void cover_rolled_plan(coverage *c) {
    const tr_rolled_options o = {.seed = 1, .is_steady = true};
    const tr_station station = {{-1500, 2700, 1500}, {1200, 900, 250}, 0};
    tr_rolled r;
    tr_plan_scene scene;
    tr_plan plan;
    tr_error err = {0};
    assert_true(tr_rolled_make(&o, &r, &err));
    r.job.layout.wheelbase_mm = 2700;
    r.job.layout.track_front_mm = r.job.layout.track_rear_mm = 1670;
    assert_true(tr_plan_scene_init(&r.job, &scene, &err));
    assert_true(tr_plan_predict(&scene, &station, 1, &plan, &err));
    const tr_plan_report report = {.plan = &plan};
    json_t *json = tr_plan_json(&report, &err);
    assert_non_null(json);
    cover(c, "", json);
    json_decref(json);
    tr_plan_release(&plan);
    tr_plan_scene_release(&scene);
    tr_rolled_release(&r);
}

static void every_key_of_a_plan_is_described(void **state) {
    (void)state;
    coverage c = {.format = &tr_help_plan_result};
    cover_rolled_plan(&c);
    cover_output(&c, "plan demo-fail.yaml --after");
    cover_output(&c, "plan no-such-job.yaml");
    check_all_seen(&c);
}

static void every_key_of_a_lens_is_described(void **state) {
    (void)state;
    coverage c = {.format = &tr_help_lens_result};
    char folder[TEMP_SIZE], line[2 * TEMP_SIZE];
    temp_make(folder);
    snprintf(line, sizeof line, "lens lens-photos/0*.jpg --squares 10x7 --pitch 40 --out %s/a.yaml",
             folder);
    cover_output(&c, line);
    snprintf(line, sizeof line, "lens demo-pass/1.jpg --squares 10x7 --pitch 40 --out %s/a.yaml",
             folder);
    cover_output(&c, line);
    check_all_seen(&c);
    temp_remove(folder);
}

/* By the photos that the profile was made from, and by none. */
static void every_key_of_a_lens_check_is_described(void **state) {
    (void)state;
    coverage c = {.format = &tr_help_recheck_result};
    char folder[TEMP_SIZE], line[2 * TEMP_SIZE];
    const char *program = getenv("TRAMMEL_PROGRAM");
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_true(program && source);
    temp_make(folder);
    snprintf(line, sizeof line,
             "cd '%s/testimages' && '%s' lens lens-photos/0*.jpg --squares 10x7 --pitch 40 --out "
             "%s/a.yaml >/dev/null 2>&1",
             source, program, folder);
    assert_int_equal(system(line), 0);
    snprintf(line, sizeof line, "lens-check %s/a.yaml lens-photos/0*.jpg", folder);
    cover_output(&c, line);
    snprintf(line, sizeof line, "lens-check %s/a.yaml lens-photos/01.jpg lens-photos/02.jpg",
             folder);
    cover_output(&c, line);
    snprintf(line, sizeof line, "lens-check %s/a.yaml demo-pass/1.jpg", folder);
    cover_output(&c, line);
    check_all_seen(&c);
    temp_remove(folder);
}

static void every_key_of_a_survey_is_described(void **state) {
    (void)state;
    coverage c = {.format = &tr_help_survey_result};
    tr_survey_sim_options options = {.seed = 1, .n_bars = 2};
    static tr_survey_sim sim;
    tr_error err = {0};
    assert_true(tr_simulate_survey(&options, &sim, &err));
    tr_survey_align align = {sim.corners, TR_SURVEY_SIM_CORNERS};
    if (!tr_survey_solve(&sim.survey, align, &err)) fail_msg("%s", err.text);
    for (int k = 0; k < 2; k++) {
        json_t *json = tr_survey_json(&sim.survey, NULL, &err);
        assert_non_null(json);
        cover(&c, "", json);
        json_decref(json);
        (void)tr_fail(&err, TR_NO_MEASURE, "a reason");
        /* What simulated photos do not have. */
        sim.survey.set.photos[0].is_used = false;
        assert_true(tr_note(IS_MIRRORED, &sim.survey.set.photos[0].why_not, NULL));
    }
    tr_survey_sim_release(&sim);
    for (const tr_help_key *k = c.format->keys; k->path; k++) {
        /* A check has them from the same function. */
        bool is_shared =
            strncmp(k->path, "photos[].", 9) == 0 || strncmp(k->path, "warnings[].", 11) == 0;
        if (is_shared) assert_non_null(find_key(&tr_help_check_result, k->path));
        if (is_shared) c.is_seen[k - c.format->keys] = true;
    }
    check_all_seen(&c);
}

/* ---- Commands ---- */

/* What the program says of `trammel COMMAND OPTION` on standard error. */
static void run(const char *command, const char *option, char *said, size_t size) {
    char line[TEMP_SIZE];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    snprintf(line, sizeof line, "'%s' %s %s 2>&1 >/dev/null", program, command, option);
    FILE *from = popen(line, "r");
    assert_non_null(from);
    said[fread(said, 1, size - 1, from)] = 0;
    pclose(from);
}

static void every_option_described_is_known(void **state) {
    (void)state;
    char said[2048], wanted[64];
    for (int i = 0; tr_help_commands[i]; i++) {
        for (const tr_help_word *o = tr_help_commands[i]->options; o->name; o++) {
            run(tr_help_commands[i]->name, o->name, said, sizeof said);
            if (strstr(said, "no option")) fail_msg("%s %s", tr_help_commands[i]->name, said);
            snprintf(wanted, sizeof wanted, "'%s' needs a value", o->name);
            assert_true((strstr(said, wanted) != NULL) == (o->value != NULL));
        }
        run(tr_help_commands[i]->name, "--no-such", said, sizeof said);
        assert_non_null(strstr(said, "no option '--no-such'"));
    }
}

/* Names of options and operands stand in the synopsis, and all that stands there is described. */
static void the_synopsis_has_every_option(void **state) {
    (void)state;
    for (int i = 0; tr_help_commands[i]; i++) {
        const tr_help_command *c = tr_help_commands[i];
        int n = 0, n_shown = 0;
        for (const tr_help_word *o = c->options; o->name; o++) {
            bool is_help = strcmp(o->name, "--help") == 0;
            if (!is_help) assert_non_null(strstr(c->synopsis, o->name));
            n += !is_help;
        }
        for (const char *at = c->synopsis; (at = strstr(at, "--")); at += 2) n_shown++;
        assert_int_equal(n_shown, n);
        for (const tr_help_word *o = c->operands; o->name; o++)
            assert_non_null(strstr(c->synopsis, o->name));
    }
}

/* ---- As text and as manual pages ---- */

static void text_fits_a_terminal(void **state) {
    (void)state;
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    for (int i = 0; tr_help_commands[i]; i++) tr_help_command_text(tr_help_commands[i], out);
    for (int i = 0; tr_help_formats[i]; i++) tr_help_format_text(tr_help_formats[i], out);
    assert_int_equal(fclose(out), 0);
    char *rest = NULL;
    for (char *line = strtok_r(text, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest)) {
        if (tr_text_columns(line) > TR_TEXT_WIDTH) fail_msg("too wide: %s", line);
    }
    free(text);
}

static bool has_program(const char *name) {
    char line[64];
    snprintf(line, sizeof line, "command -v %s >/dev/null", name);
    return system(line) == 0;
}

/* What a formatter says of a page; nothing, if all is well. */
static void check_page(const char *formatter, const char *path) {
    char line[TEMP_SIZE + 64], said[2048];
    snprintf(line, sizeof line, "%s '%s' 2>&1 >/dev/null", formatter, path);
    FILE *from = popen(line, "r");
    assert_non_null(from);
    said[fread(said, 1, sizeof said - 1, from)] = 0;
    int status = pclose(from);
    if (*said || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
        fail_msg("%s: %s", formatter, said);
}

static void manual_pages_are_proper(void **state) {
    (void)state;
    char folder[TEMP_SIZE], path[TEMP_SIZE];
    need(has_program("man") && has_program("mandoc"), "man or mandoc");
    temp_make(folder);
    temp_path(path, folder, "page");
    for (int i = 0;; i++) {
        int n_commands = 0;
        while (tr_help_commands[n_commands]) n_commands++;
        FILE *out = fopen(path, "w");
        assert_non_null(out);
        tr_help_manual m = {
            .version = "1.0.0", .date = "2026-11-29", .cautions = "Care.", .out = out};
        if (i < n_commands)
            tr_help_command_roff(tr_help_commands[i], &m);
        else if (tr_help_formats[i - n_commands])
            tr_help_format_roff(tr_help_formats[i - n_commands], &m);
        else
            tr_help_program_roff(&m), tr_help_files_roff(&m);
        assert_int_equal(fclose(out), 0);
        check_page("LC_ALL=C.UTF-8 MANROFFSEQ= man --warnings -l", path);
        if (i >= n_commands && !tr_help_formats[i - n_commands]) break;
        check_page("mandoc -T lint -W style", path);
    }
    temp_remove(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_key_that_a_reader_knows_is_described),
        cmocka_unit_test(no_key_is_described_that_no_reader_knows),
        cmocka_unit_test(every_word_of_a_choice_is_described),
        cmocka_unit_test(units_are_those_of_the_keys_names),
        cmocka_unit_test(defaults_are_the_readers),
        cmocka_unit_test(every_key_of_a_check_is_described),
        cmocka_unit_test(every_key_of_a_plan_is_described),
        cmocka_unit_test(every_key_of_a_lens_is_described),
        cmocka_unit_test(every_key_of_a_lens_check_is_described),
        cmocka_unit_test(every_key_of_a_survey_is_described),
        cmocka_unit_test(every_option_described_is_known),
        cmocka_unit_test(the_synopsis_has_every_option),
        cmocka_unit_test(text_fits_a_terminal),
        cmocka_unit_test(manual_pages_are_proper),
    };
    return cmocka_run_group_tests(tests, read_examples, NULL);
}
