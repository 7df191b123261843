/* A shop's folder: its file, where it is found, what the program makes in it, and a job from there
   to its verdict. */
#include "small.h"

#include <jansson.h>
#include <stdarg.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"
#include "job/job.h"
#include "shop/shop.h"

enum { PASS = 0, INCONCLUSIVE = 2, NO_MEASURE = 3, USAGE = 64 };

static const char VIN[] = "1M8GDM9AXKP042788";

/* ---- running it ---- */

typedef struct {
    int status;
    char out[16384], err[8192];
} outcome;

static void read_text(const char *path, char *text, size_t size) {
    FILE *from = fopen(path, "rb");
    if (!from) fail_msg("%s is not there", path);
    size_t n = fread(text, 1, size - 1, from);
    text[n] = 0;
    assert_int_equal(fclose(from), 0);
}

/* In a folder of the test's; the words as a shell reads them. */
static outcome run_in(const char *folder, const char *format, ...) TR_PRINTF(2, 3);

static outcome run_in(const char *folder, const char *format, ...) {
    outcome o = {.status = -1};
    char words[2048], line[4096], here[TEMP_SIZE];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_true(program && getcwd(here, sizeof here));
    va_list args;
    va_start(args, format);
    vsnprintf(words, sizeof words, format, args);
    va_end(args);
    snprintf(line, sizeof line, "cd '%s' && '%s' %s >'%s/.out' 2>'%s/.err'", folder, program, words,
             here, here);
    int status = system(line);
    assert_true(WIFEXITED(status));
    o.status = WEXITSTATUS(status);
    read_text(".out", o.out, sizeof o.out);
    read_text(".err", o.err, sizeof o.err);
    return o;
}

static void check_has(const char *text, const char *part) {
    if (!strstr(text, part)) fail_msg("'%s' is not in:\n%s", part, text);
}

static void check_status(const outcome *o, int status) {
    if (o->status != status)
        fail_msg("exit status %d, not %d\n%s\n%s", o->status, status, o->out, o->err);
}

static void check_refused(const outcome *o, int status, const char *culprit) {
    check_status(o, status);
    check_has(o->err, culprit);
    assert_string_equal(o->out, "");
}

static bool is_there(const char *path) {
    return access(path, F_OK) == 0;
}

/* Every test works in an empty folder of its own. */
static int set_up(void **state) {
    static char folder[TEMP_SIZE];
    temp_make(folder);
    *state = folder;
    return chdir(folder);
}

static int tear_down(void **state) {
    assert_int_equal(chdir("/"), 0);
    temp_remove(*state);
    return 0;
}

/* ---- the file ---- */

static const char WHOLE[] =
    "shop: Demo workshop\n"
    "units: inch\n"
    "language: de\n"
    "paper: Letter\n"
    "store: postgresql://trammel@server/records\n"
    "keep: true\n"
    "files: folder\n"
    "files_folder: /for/all\n"
    "lens_check_hours: 12.5\n"
    "lens_check: demand\n"
    "lenses: l\n"
    "sheets: /else/where\n"
    "references:\n"
    "  - { point: rear-left, sheet: HUB-RL, standoff_mm: 62 }\n"
    "  - { point: emblem, tag: 310, size_mm: 40, at_mm: [1, 2], on: floor }\n"
    "reference_sd_mm: 1.5\n";

static void a_shops_file_is_read(void **state) {
    (void)state;
    tr_shop s;
    tr_error err = {0};
    small_text(".", "trammel.yaml", WHOLE);
    if (!tr_shop_read("./trammel.yaml", &s, &err)) fail_msg("'%s' %s", err.key, err.text);
    assert_string_equal(s.name, "Demo workshop");
    assert_int_equal(s.units, TR_SHOWN_IN_INCHES);
    assert_string_equal(s.language, "de");
    assert_string_equal(s.paper, "Letter");
    assert_string_equal(s.store, "postgresql://trammel@server/records");
    assert_true(s.keeps && s.has_files_in_folder && s.demands_lens_check);
    assert_string_equal(s.files_folder, "/for/all");
    CHECK_NEAR(s.lens_check_hours, 12.5, 0);
    tr_store_place own = tr_shop_store(&s, NULL);
    tr_store_place other = tr_shop_store(&s, "other.db");
    assert_string_equal(own.where, s.store);
    assert_true(own.in_folder && own.folder == s.files_folder);
    assert_string_equal(other.where, "other.db");
    assert_true(!other.in_folder && !other.folder);
    assert_string_equal(s.folders[TR_SHOP_LENSES], "./l");
    assert_string_equal(s.folders[TR_SHOP_SHEETS], "/else/where");
    assert_string_equal(s.folders[TR_SHOP_PHOTOS], "./photos");
    assert_int_equal(s.n_references, 2);
    assert_true(s.references[0].has_standoff && !s.references[0].has_at);
    CHECK_NEAR(s.references[0].standoff_mm, 62, 0);
    assert_int_equal(s.references[1].tag, 310);
    CHECK_NEAR(s.references[1].at_mm.y, 2, 0);
    assert_string_equal(s.references[1].on, "floor");
    CHECK_NEAR(s.reference_sd_mm, 1.5, 0);
    tr_shop_release(&s);
}

static void all_but_its_name_has_a_default(void **state) {
    (void)state;
    tr_shop s;
    small_text(".", "trammel.yaml", "shop: S\n");
    assert_true(tr_shop_read("trammel.yaml", &s, NULL));
    assert_int_equal(s.units, TR_SHOWN_IN_MM);
    assert_string_equal(s.language, "");
    assert_string_equal(s.paper, "A4");
    assert_string_equal(s.store, "records.db");
    assert_false(s.keeps || s.has_files_in_folder || s.demands_lens_check || s.has_reference_sd);
    CHECK_NEAR(s.lens_check_hours, 0, 0);
    assert_string_equal(s.folders[TR_SHOP_JOBS], "jobs");
    tr_shop_release(&s);
}

static void check_found(const char *from, const char *path) {
    tr_shop s;
    tr_error err = {0};
    if (!tr_shop_find(from, &s, &err)) fail_msg("%s: %s", err.file, err.text);
    if (path) {
        assert_non_null(s.path);
        assert_string_equal(s.path, path);
    } else {
        assert_null(s.path);
    }
    tr_shop_release(&s);
}

static void a_shop_is_found_upwards(void **state) {
    (void)state;
    tr_shop s;
    tr_error err = {0};
    char absolute[TEMP_SIZE + 64], here[TEMP_SIZE];
    assert_int_equal(mkdir("shop", 0777) + mkdir("shop/jobs", 0777) + mkdir("other", 0777), 0);
    small_text("shop", "trammel.yaml", "shop: S\n");
    check_found("", NULL);
    check_found("other", NULL);
    check_found("no/such/folder", NULL);
    check_found("shop", "shop/trammel.yaml");
    check_found("shop/jobs", "shop/trammel.yaml");
    assert_int_equal(chdir("shop/jobs"), 0);
    check_found("", "../trammel.yaml");
    check_found("..", "../trammel.yaml");
    assert_int_equal(chdir(".."), 0);
    check_found("jobs", "trammel.yaml");
    assert_int_equal(chdir("../other"), 0);
    assert_non_null(getcwd(here, sizeof here));
    *strrchr(here, '/') = 0;
    snprintf(absolute, sizeof absolute, "%s/shop/trammel.yaml", here);
    check_found("../shop/jobs", absolute);
    /* One that cannot be read is no reason to look further up. */
    assert_int_equal(chdir("../shop/jobs"), 0);
    small_text(".", "trammel.yaml", "shop: S\nunits: cm\n");
    assert_false(tr_shop_find("", &s, &err));
    assert_string_equal(err.file, "trammel.yaml");
    assert_int_equal(err.line, 2);
    assert_string_equal(err.key, "units");
    assert_null(s.path);
}

static void check_path(const tr_shop *s, const char *name, const char *wanted) {
    char *path = tr_shop_path(s, TR_SHOP_LAYOUTS, name, NULL);
    assert_string_equal(path, wanted);
    free(path);
}

static void names_lead_to_the_shops_files(void **state) {
    (void)state;
    tr_shop s, none = {0};
    assert_int_equal(mkdir("layouts", 0777) + mkdir("rear", 0777), 0);
    small_text(".", "trammel.yaml", "shop: S\n");
    small_text(".", "here.yaml", "");
    small_text("layouts", "rear.yaml", "");
    assert_true(tr_shop_find("", &s, NULL));
    check_path(&s, "rear", "layouts/rear.yaml"); /* the folder of that name is no layout */
    check_path(&s, "rear.yaml", "layouts/rear.yaml");
    check_path(&s, "here.yaml", "here.yaml");
    check_path(&s, "./rear", "./rear");
    check_path(&s, "front", "layouts/front.yaml");
    check_path(&none, "rear", "rear");
    tr_shop_release(&s);
}

static void photos_are_those_of_the_jobs_folder(void **state) {
    (void)state;
    char **photos;
    int n;
    tr_error err = {0};
    assert_int_equal(mkdir("photos", 0777) + mkdir("jobs", 0777), 0);
    small_text(".", "trammel.yaml", "shop: S\n");
    assert_false(tr_shop_photos_of("jobs/J-0001.yaml", &photos, &n, &err));
    check_has(err.text, "names no photos, and there are none in photos/J-0001");
    assert_int_equal(n, 0);
    assert_int_equal(mkdir("photos/J-0001", 0777), 0);
    static const char *const FILES[] = {"b.jpg", "a.HEIC", "c.png", ".d.jpg", "notes.txt", "e"};
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++)
        small_text("photos/J-0001", FILES[i], "");
    assert_true(tr_shop_photos_of("jobs/J-0001.yaml", &photos, &n, NULL));
    assert_int_equal(n, 3);
    assert_string_equal(photos[0], "photos/J-0001/a.HEIC");
    assert_string_equal(photos[1], "photos/J-0001/b.jpg");
    assert_string_equal(photos[2], "photos/J-0001/c.png");
    tr_shop_photos_release(photos, n);
    assert_int_equal(unlink("trammel.yaml"), 0);
    assert_true(tr_shop_photos_of("jobs/J-0001.yaml", &photos, &n, NULL));
    assert_int_equal(n, 0); /* no shop */
    tr_shop_photos_release(photos, n);
}

/* ---- trammel shop ---- */

static void a_new_shop_is_whole(void **state) {
    (void)state;
    static const char *const PARTS[] = {"jobs",
                                        "photos",
                                        "lenses",
                                        "layouts/try-out.yaml",
                                        "sheets/plate-rl.yaml",
                                        "sheets/mat-s.yaml",
                                        "prints/plate-rl.pdf",
                                        "prints/mat-s-a4.pdf"};
    tr_shop s;
    char text[8192];
    outcome o = run_in(".", "shop 'my shop' --name 'Bay: \"2\"' --units inch --language de "
                            "--paper Letter");
    check_status(&o, PASS);
    assert_string_equal(o.err, "");
    check_has(o.out, "in 'my shop'");
    assert_int_equal(chdir("my shop"), 0);
    for (size_t i = 0; i < sizeof PARTS / sizeof *PARTS; i++) {
        if (!is_there(PARTS[i])) fail_msg("there is no %s", PARTS[i]);
    }
    assert_int_equal(temp_count("."), 7); /* six folders and trammel.yaml */
    assert_true(tr_shop_find("", &s, NULL));
    assert_string_equal(s.name, "Bay: \"2\"");
    assert_int_equal(s.units, TR_SHOWN_IN_INCHES);
    assert_string_equal(s.language, "de");
    assert_string_equal(s.paper, "Letter");
    assert_int_equal(s.n_references, 4);
    tr_shop_release(&s);
    /* Every key is there, with its explanation kept. */
    read_text("trammel.yaml", text, sizeof text);
    static const char *const KEYS[] = {
        "shop",   "units",      "language",        "paper",
        "store",  "keep",       "files",           "lens_check_hours",
        "lenses", "sheets",     "layouts",         "jobs",
        "photos", "references", "reference_sd_mm", "lens_check"};
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++) {
        char key[32];
        snprintf(key, sizeof key, "\n%s:", KEYS[i]);
        check_has(text, key);
    }
    check_has(text, "# of texts and reports");
}

static void a_shop_is_made_in_an_empty_folder_alone(void **state) {
    (void)state;
    assert_int_equal(mkdir("empty", 0777) + mkdir("full", 0777), 0);
    small_text("full", "notes.txt", "x");
    outcome o = run_in(".", "shop full");
    check_refused(&o, NO_MEASURE, "full: is not empty");
    assert_int_equal(temp_count("full"), 1);
    o = run_in("empty", "shop .");
    check_status(&o, PASS);
    o = run_in(".", "shop empty");
    check_refused(&o, NO_MEASURE, "lies in a shop already");
    o = run_in("empty", "shop inner");
    check_refused(&o, NO_MEASURE, "lies in a shop already");
    assert_false(is_there("empty/inner"));
    o = run_in(".", "shop no/such");
    check_refused(&o, NO_MEASURE, "no/such: cannot be made");
    o = run_in(".", "shop a --units cm");
    check_refused(&o, USAGE, "'--units cm' is not one of: mm, inch");
    o = run_in(".", "shop a b");
    check_refused(&o, USAGE, "one word too many");
}

/* A kit from which something is missing: nothing is left of what was made before. */
static void a_shop_is_made_whole_or_not_at_all(void **state) {
    (void)state;
    assert_int_equal(mkdir("empty", 0777) + mkdir("kit", 0777) + mkdir("kit/sheets", 0777) +
                         mkdir("kit/layouts", 0777),
                     0);
    small_text("kit/sheets", "mat.yaml", SMALL_MAT);
    small_text("kit", "mat.pdf", "%PDF");
    outcome o = run_in(".", "shop new --kit kit");
    check_refused(&o, NO_MEASURE, "kit/shop.yaml: does not exist");
    assert_false(is_there("new"));
    o = run_in(".", "shop empty --kit kit");
    check_refused(&o, NO_MEASURE, "kit/shop.yaml: does not exist");
    assert_int_equal(temp_count("empty"), 0);
    small_text("kit", "shop.yaml", "shop: S\nunits: cm\n");
    o = run_in(".", "shop new --kit kit");
    check_refused(&o, NO_MEASURE, "kit/shop.yaml:2: 'units' is cm");
    assert_false(is_there("new"));
    small_text("kit", "shop.yaml", "shop: S\n");
    o = run_in(".", "shop new --kit kit");
    check_status(&o, PASS);
    assert_true(is_there("new/prints/mat.pdf"));
}

/* ---- trammel job ---- */

/* A shop from the starter kit, with a lens. */
static void make_shop(void) {
    outcome o = run_in(".", "shop shop");
    check_status(&o, PASS);
    small_text("shop/lenses", "small.yaml", SMALL_LENS);
}

static void read_job(const char *path, tr_job *job) {
    tr_error err = {0};
    if (!tr_job_read(path, job, &err))
        fail_msg("%s:%d '%s' %s", err.file, err.line, err.key, err.text);
}

static void one_command_makes_a_job(void **state) {
    (void)state;
    tr_job job;
    char text[4096];
    make_shop();
    outcome o = run_in("shop", "job --layout try-out --vin %s --technician T-04", VIN);
    check_status(&o, PASS);
    assert_string_equal(o.err, "");
    check_has(o.out, "jobs/J-0001.yaml");
    check_has(o.out, "put the photos into photos/J-0001, then trammel check J-0001");
    assert_true(is_there("shop/photos/J-0001"));
    read_job("shop/jobs/J-0001.yaml", &job);
    assert_string_equal(job.id, "J-0001");
    assert_string_equal(job.vehicle_id, VIN);
    assert_string_equal(job.technician, "T-04");
    assert_string_equal(job.lenses[0].id, "small");
    assert_string_equal(job.layout.id, "TRY-OUT");
    assert_int_equal(job.n_sheets, 5);
    assert_int_equal(job.n_references, 4);
    CHECK_NEAR(job.references[0].at_mm.x, 95, 0);
    CHECK_NEAR(job.reference_sd_mm, 1.5, 0);
    assert_int_equal(job.n_photos, 0);
    tr_job_release(&job);
    /* Its paths are relative: the shop may be moved. */
    read_text("shop/jobs/J-0001.yaml", text, sizeof text);
    check_has(text, "lens: ../lenses/small.yaml\nlayout: ../layouts/try-out.yaml\n");
    assert_int_equal(rename("shop", "moved"), 0);
    read_job("moved/jobs/J-0001.yaml", &job);
    tr_job_release(&job);
    /* From any folder of the shop; the layout by its own name; small letters; a lens of no shop. */
    small_text(".", "other.yaml", SMALL_LENS);
    o = run_in("moved/photos", "job --layout TRY-OUT --vin 1m8gdm9axkp042788 --lens "
                               "../../other.yaml");
    check_status(&o, PASS);
    check_has(o.out, "../jobs/J-0002.yaml");
    read_job("moved/jobs/J-0002.yaml", &job);
    assert_string_equal(job.vehicle_id, VIN);
    tr_job_release(&job);
    assert_int_equal(temp_count("moved/jobs"), 2);
}

static void names_of_jobs_are_used_once(void **state) {
    (void)state;
    make_shop();
    outcome o = run_in("shop", "job --layout try-out --job J-0041");
    check_status(&o, PASS);
    o = run_in("shop", "job --layout try-out --job J-0041");
    check_refused(&o, NO_MEASURE, "the name J-0041 is there already");
    /* Photos that lie there are of an older job. */
    assert_int_equal(mkdir("shop/photos/J-0052", 0777), 0);
    o = run_in("shop", "job --layout try-out");
    check_status(&o, PASS);
    check_has(o.out, "jobs/J-0053.yaml");
    static const char *const BAD[] = {"''", "../x", ".x", "J-1.yaml", "'a\nb'"};
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        o = run_in("shop", "job --layout try-out --job %s", BAD[i]);
        check_refused(&o, NO_MEASURE, "cannot be the name of a file");
    }
    assert_int_equal(temp_count("shop/jobs"), 2);
}

/* A command that is printed can be given to a shell as it stands. */
static void names_with_blanks_are_quoted(void **state) {
    (void)state;
    make_shop();
    outcome o = run_in("shop", "job --layout try-out --lens unknown --job 'Größe 1'");
    check_status(&o, PASS);
    check_has(o.out, "put the photos into 'photos/Größe 1', then trammel check 'Größe 1'\n");
    o = run_in("shop", "job --layout try-out --lens unknown --job \"it's\"");
    check_status(&o, PASS);
    check_has(o.out, "then trammel check 'it'\\''s'\n");
}

/* A name is no path where there is no shop, and this is said. */
static void names_need_a_shop(void **state) {
    (void)state;
    static const char *const COMMANDS[] = {"check J-0001", "confirm J-0001 tank-full --by T-04",
                                           "plan J-0001", "print mat-s --out mat.pdf"};
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++) {
        outcome o = run_in(".", "%s", COMMANDS[i]);
        check_refused(&o, NO_MEASURE, "is no file, and there is no shop here");
        check_has(o.err, "go into the shop's folder, or give the path of a file");
    }
    outcome o = run_in(".", "check J-0001.yaml");
    check_refused(&o, NO_MEASURE, "J-0001.yaml: does not exist; check the path");
}

/* Paths are told without the way back out of the job's folder, and a pattern as one. */
static void errors_say_what_to_do(void **state) {
    (void)state;
    char text[4096];
    make_shop();
    outcome o = run_in("shop", "job --layout try-out --lens small");
    check_status(&o, PASS);
    o = run_in("shop", "check J-0001 'photos/*.jpg'");
    check_has(o.err, "no file fits photos/*.jpg; cameras also write .JPG and .HEIC");
    o = run_in("shop", "confirm J-0001 tyres --by T-04");
    check_refused(&o, NO_MEASURE,
                  "layout TRY-OUT has no preconditions: nothing needs to be confirmed");
    assert_int_equal(remove("shop/lenses/small.yaml"), 0);
    o = run_in("shop", "check J-0001");
    check_refused(&o, NO_MEASURE,
                  "'lens' names lenses/small.yaml, which does not exist; check the path, make the "
                  "profile with 'trammel lens', or write 'lens: unknown'");
    read_text("shop/jobs/J-0001.yaml", text, sizeof text);
    check_has(text, "lens: ../lenses/small.yaml");
}

/* Ten at once: ten jobs, each whole. */
static void jobs_made_at_once_do_not_collide(void **state) {
    (void)state;
    enum { N = 10 };
    char line[2048];
    make_shop();
    snprintf(line, sizeof line,
             "cd shop && for i in 1 2 3 4 5 6 7 8 9 10; do '%s' job --layout try-out --technician "
             "T-$i >/dev/null 2>>../.err & done; wait",
             getenv("TRAMMEL_PROGRAM"));
    assert_int_equal(system(line), 0);
    bool is_seen[N + 1] = {false};
    for (int i = 1; i <= N; i++) {
        char path[64];
        tr_job job;
        snprintf(path, sizeof path, "shop/jobs/J-%04d.yaml", i);
        read_job(path, &job);
        int technician = atoi(job.technician + 2);
        assert_true(technician >= 1 && technician <= N && !is_seen[technician]);
        is_seen[technician] = true;
        tr_job_release(&job);
    }
    assert_int_equal(temp_count("shop/jobs"), N);
}

static void what_a_job_lacks_is_told(void **state) {
    (void)state;
    static const struct {
        const char *words;
        int status;
        const char *said;
    } CASES[] = {
        {"", USAGE, "'--layout' is missing"},
        {"--layout no-such", NO_MEASURE, "layouts/no-such.yaml: does not exist"},
        {"--layout try-out --lens no-such", NO_MEASURE, "lenses/no-such.yaml: does not exist"},
        {"--layout try-out --sheets MAT-9", NO_MEASURE, "no file in sheets defines"},
        {"--layout try-out --vin 1M8GDM9AXKP04278", USAGE, "has 16 characters"},
        {"--layout try-out --vin 1M8GDM9AXKPO42788", USAGE, "in place 12"},
        {"--layout try-out --confirm tank-full", NO_MEASURE, "needs '--by NAME'"},
        {"--layout try-out --confirm tank-full --by T-04", NO_MEASURE,
         "jobs/J-0001.yaml:19: 'confirmed[0].id' is tank-full, but layout TRY-OUT has no "
         "preconditions"},
        {"--layout try-out no-such.jpg", NO_MEASURE, "no-such.jpg: does not exist"},
    };
    make_shop();
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        outcome o = run_in("shop", "job %s", CASES[i].words);
        check_refused(&o, CASES[i].status, CASES[i].said);
    }
    outcome o = run_in(".", "job --layout try-out");
    check_refused(&o, NO_MEASURE, "there is no shop here");
    /* Outside North America the ninth character may be anything: told, and made. */
    assert_int_equal(temp_count("shop/jobs"), 0);
    o = run_in("shop", "job --layout try-out --vin 1M8GDM9A1KP042788");
    check_status(&o, PASS);
    check_has(o.err, "the check digit of 1M8GDM9A1KP042788");
    /* Two lenses: which? None: how to make one. */
    small_text("shop/lenses", "other.yaml", SMALL_LENS);
    o = run_in("shop", "job --layout try-out");
    check_refused(&o, NO_MEASURE, "other.yaml, small.yaml");
    assert_int_equal(unlink("shop/lenses/other.yaml") + unlink("shop/lenses/small.yaml"), 0);
    o = run_in("shop", "job --layout try-out");
    check_refused(&o, NO_MEASURE, "lenses: has no lens profile");
    o = run_in("shop", "job --layout try-out --lens unknown");
    check_status(&o, PASS);
    assert_int_equal(temp_count("shop/jobs"), 2);
}

/* ---- trammel confirm ---- */

static const char PRECONDITIONS[] =
    "preconditions:\n"
    "  - { id: tyre-pressures, text: 'Tyre pressures set', required: true }\n"
    "  - { id: tank-full, text: Tank full, required: false }\n"
    "  - { id: steering-straight, text: Steering straight, required: true }\n";

static void add_to_file(const char *path, const char *text) {
    FILE *to = fopen(path, "ab");
    assert_non_null(to);
    fputs(text, to);
    assert_int_equal(fclose(to), 0);
}

static const tr_confirmation *said_of(const tr_job *job, const char *id) {
    for (int i = 0; i < job->layout.n_preconditions; i++) {
        if (strcmp(job->layout.preconditions[i].id, id) == 0) return tr_job_confirmation_of(job, i);
    }
    fail_msg("no %s", id);
    return NULL;
}

static void a_job_says_what_was_seen_to(void **state) {
    (void)state;
    tr_job job;
    char text[4096];
    make_shop();
    add_to_file("shop/layouts/try-out.yaml", PRECONDITIONS);
    outcome o = run_in("shop", "job --layout try-out --technician T-04 --confirm tank-full");
    check_status(&o, PASS);
    check_has(o.out, "! tyre-pressures: Tyre pressures set; required, and not confirmed yet");
    add_to_file("shop/jobs/J-0001.yaml", "\n# That is all.\n");
    o = run_in("shop", "confirm J-0001 tyre-pressures --not-done 'no \"gauge\": lent'");
    check_status(&o, PASS);
    read_job("shop/jobs/J-0001.yaml", &job);
    assert_true(said_of(&job, "tank-full")->is_done);
    assert_string_equal(said_of(&job, "tank-full")->by, "T-04");
    assert_true(tr_time_is_valid(said_of(&job, "tank-full")->at));
    assert_string_equal(said_of(&job, "tyre-pressures")->reason, "no \"gauge\": lent");
    assert_null(said_of(&job, "steering-straight"));
    tr_job_release(&job);
    o = run_in("shop/photos", "confirm J-0001 steering-straight tyre-pressures --by 'Ü. Weiß'");
    check_status(&o, PASS);
    read_job("shop/jobs/J-0001.yaml", &job);
    assert_int_equal(job.n_confirmations, 3);
    assert_true(said_of(&job, "tyre-pressures")->is_done);
    assert_string_equal(said_of(&job, "tyre-pressures")->by, "Ü. Weiß");
    tr_job_release(&job);
    read_text("shop/jobs/J-0001.yaml", text, sizeof text);
    check_has(text, "# Made by `trammel job`");
    assert_string_equal(text + strlen(text) - strlen("\n\n# That is all.\n"),
                        "\n\n# That is all.\n");
    /* What was confirmed stays. */
    o = run_in("shop", "confirm J-0001 tyre-pressures --by T-05");
    check_refused(&o, NO_MEASURE, "has tyre-pressures already, by Ü. Weiß");
    o = run_in("shop", "confirm J-0001 tyres --by T-05");
    check_refused(&o, NO_MEASURE,
                  "'tyres' is no precondition of layout TRY-OUT; these are: tyre-pressures");
    o = run_in("shop", "confirm J-0001 --by T-05");
    check_refused(&o, USAGE, "no precondition is named");
    /* A job alone: its list. */
    o = run_in("shop", "confirm J-0001");
    check_status(&o, PASS);
    check_has(o.out, "tyre-pressures: Tyre pressures set; confirmed by");
    o = run_in("shop", "confirm J-0009 tyres --by T-05");
    check_refused(&o, NO_MEASURE, "jobs/J-0009.yaml: does not exist");
    assert_int_equal(temp_count("shop/jobs"), 1);
}

/* What another program or hand made of a job: with its lines and their ends as they are. */
static void files_of_any_layout_keep_it(void **state) {
    (void)state;
    static const struct {
        const char *end, *wanted;
    } CASES[] = {
        {"reference_sd_mm: 1.5",
         "reference_sd_mm: 1.5\nconfirmed:\n  - { id: tank-full, by: T-04,"},
        {"reference_sd_mm: 1.5\r\nfloor_sd_mm: 1 # even\r\n",
         "floor_sd_mm: 1 # even\r\nconfirmed:\r\n  - { id: tank-full, by: T-04,"},
        {"reference_sd_mm: 1.5\nconfirmed: # by whom\n- id: tyre-pressures\n  by: T\n"
         "  at: 2026-11-29T08:10\n# the end\n",
         "confirmed: # by whom\n- id: tyre-pressures\n  by: T\n  at: 2026-11-29T08:10\n"
         "- { id: tank-full, by: T-04,"},
        {"confirmed:\n    - { id: tank-full, not_done: no fuel } # sorry\nreference_sd_mm: 1.5\n",
         "confirmed:\n    - { id: tank-full, by: T-04,"},
        {"reference_sd_mm: 1.5\nconfirmed: [{ id: tyre-pressures, by: T, at: 2026-11-29T08:10 }]\n",
         NULL},
        {"reference_sd_mm: 1.5\nconfirmed:\n  - id: tank-full\n    not_done: no fuel\n", NULL}};
    char head[4096], before[8192], after[8192];
    make_shop();
    add_to_file("shop/layouts/try-out.yaml", PRECONDITIONS);
    outcome o = run_in("shop", "job --layout try-out");
    check_status(&o, PASS);
    read_text("shop/jobs/J-0001.yaml", head, sizeof head);
    *strstr(head, "reference_sd_mm") = 0;
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        snprintf(before, sizeof before, "%s%s", head, CASES[i].end);
        small_text("shop/jobs", "J-0001.yaml", before);
        o = run_in("shop", "confirm J-0001 tank-full --by T-04");
        read_text("shop/jobs/J-0001.yaml", after, sizeof after);
        if (CASES[i].wanted) {
            tr_job job;
            check_status(&o, PASS);
            check_has(after, CASES[i].wanted);
            if (strstr(CASES[i].end, "# sorry")) check_has(after, "} # sorry\n");
            if (strstr(CASES[i].end, "# the end")) check_has(after, "}\n# the end\n");
            read_job("shop/jobs/J-0001.yaml", &job);
            tr_job_release(&job);
        } else {
            check_refused(&o, NO_MEASURE, "by hand");
            assert_string_equal(after, before);
        }
    }
    assert_int_equal(temp_count("shop/jobs"), 1);
}

/* ---- the whole way ---- */

static const char SMALL_SHOP[] = "shop: Small workshop\n"
                                 "references:\n"
                                 "  - { point: rear-left, sheet: P-0 }\n"
                                 "  - { point: rear-right, sheet: P-1 }\n"
                                 "  - { point: front-left, sheet: P-2 }\n"
                                 "  - { point: front-right, sheet: P-3 }\n"
                                 "reference_sd_mm: 1.0\n";

/* The renderer's job, its files sorted into a shop's folders. */
static void make_small_shop(void) {
    assert_int_equal(mkdir("s", 0777), 0);
    small_job_make("s");
    small_text("s", "trammel.yaml", SMALL_SHOP);
    assert_int_equal(system("cd s && mkdir lenses sheets layouts today && mv lens.yaml lenses && "
                            "mv mat.yaml p?.yaml sheets && mv layout.yaml layouts/small.yaml && "
                            "mv ?.jpg today && rm job.yaml scene.yaml stage.yaml"),
                     0);
    add_to_file("s/layouts/small.yaml", PRECONDITIONS);
}

static json_t *json_of(const outcome *o) {
    json_t *json = json_loads(o->out, 0, NULL);
    if (!json) fail_msg("no JSON:\n%s\n%s", o->out, o->err);
    return json;
}

static void from_a_shop_to_a_verdict(void **state) {
    (void)state;
    make_small_shop();
    outcome o = run_in("s", "print mat --out mat.pdf");
    check_status(&o, PASS);
    o = run_in("s", "job --layout small --vin %s --technician T-04 --confirm tyre-pressures", VIN);
    check_status(&o, PASS);
    /* No photos yet. */
    o = run_in("s", "check J-0001");
    check_status(&o, NO_MEASURE);
    check_has(o.err, "there are none in photos/J-0001; put them there");
    assert_int_equal(system("cp s/today/*.jpg s/photos/J-0001"), 0);
    o = run_in("s/today", "check J-0001 --json");
    check_status(&o, INCONCLUSIVE);
    json_t *json = json_of(&o);
    assert_int_equal(json_array_size(json_object_get(json, "photos")), SMALL_PHOTOS);
    const json_t *warning = json_array_get(json_object_get(json, "warnings"), 0);
    assert_string_equal(json_string_value(json_object_get(warning, "code")),
                        "precondition_missing");
    check_has(json_string_value(json_object_get(warning, "text")), "Steering straight");
    json_decref(json);
    o = run_in("s", "confirm J-0001 steering-straight");
    check_status(&o, PASS);
    o = run_in("s/jobs", "check J-0001");
    check_status(&o, PASS);
    check_has(o.out, "- Steering straight: confirmed by T-04, ");
    /* By its path, from outside. */
    o = run_in(".", "check s/jobs/J-0001.yaml");
    check_status(&o, PASS);
    o = run_in(".", "check J-0001");
    check_status(&o, NO_MEASURE);
    o = run_in("s", "plan J-0001 --json");
    assert_true(o.status == PASS || o.status == INCONCLUSIVE);
    /* A job that lists its photos has these. */
    o = run_in("s", "job --layout small --technician T-04 today/1.jpg today/2.jpg today/3.jpg "
                    "today/4.jpg --confirm tyre-pressures,steering-straight");
    check_status(&o, PASS);
    assert_false(is_there("s/photos/J-0002"));
    o = run_in("s", "check J-0002 --json");
    check_status(&o, PASS);
    json = json_of(&o);
    const json_t *photo = json_array_get(json_object_get(json, "photos"), 0);
    assert_string_equal(json_string_value(json_object_get(photo, "file")), "today/1.jpg");
    json_decref(json);
    /* Paths are as short in its record, and it is measured again from wherever the folders of the
       shop are not. */
    o = run_in("s", "check J-0002 --keep --store ../kept.db");
    check_status(&o, PASS);
    o = run_in("s", "records show 1 --store ../kept.db");
    check_status(&o, PASS);
    check_has(o.out, "layouts/small.yaml");
    assert_null(strstr(o.out, "jobs/.."));
    o = run_in("s", "records recheck 1 --store ../kept.db");
    check_has(o.out, "byte for byte");
    o = run_in(".", "records recheck 1 --store kept.db");
    check_has(o.out, "byte for byte");
    /* A report of the job itself lists its files, too. */
    o = run_in("s", "report J-0002 --out ../report.html");
    check_status(&o, PASS);
    char *report = malloc(8 << 20);
    assert_non_null(report);
    read_text("report.html", report, 8 << 20);
    const char *files = strstr(report, ">Files<");
    assert_non_null(files);
    check_has(files, ">J-0002.yaml<");
    check_has(files, ">small.yaml<");
    check_has(files, ">mat.yaml<");
    free(report);
    /* A shop whose file cannot be read is no shop that is silently left out. */
    small_text("s", "trammel.yaml", "shop: Small workshop\nkeeep: true\n");
    o = run_in("s", "check J-0001");
    check_status(&o, NO_MEASURE);
    check_has(o.err, "trammel.yaml:2: 'keeep' is not a known key; did you mean 'keep'?");
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_shops_file_is_read),
        TEST(all_but_its_name_has_a_default),
        TEST(a_shop_is_found_upwards),
        TEST(names_lead_to_the_shops_files),
        TEST(photos_are_those_of_the_jobs_folder),
        TEST(a_new_shop_is_whole),
        TEST(a_shop_is_made_in_an_empty_folder_alone),
        TEST(a_shop_is_made_whole_or_not_at_all),
        TEST(one_command_makes_a_job),
        TEST(names_of_jobs_are_used_once),
        TEST(names_with_blanks_are_quoted),
        TEST(names_need_a_shop),
        TEST(errors_say_what_to_do),
        TEST(jobs_made_at_once_do_not_collide),
        TEST(what_a_job_lacks_is_told),
        TEST(a_job_says_what_was_seen_to),
        TEST(files_of_any_layout_keep_it),
        TEST(from_a_shop_to_a_verdict),
    };
    return cmocka_run_group_tests_name("shop", tests, NULL, NULL);
}
