/* trammel check: from a job and its photos to the verdict. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/number.h"
#include "base/text.h"
#include "check/check.h"
#include "present/cautions.h"
#include "present/check_json.h"
#include "present/json.h"
#include "present/check_text.h"
#include "present/picture.h"

enum { MAX_THREADS = 64 };

static const char USAGE[] =
    "usage: trammel check JOB.yaml [PHOTO...] [--json] [--picture OUT.png]\n"
    "                     [--threads N]\n";

static const char HELP[] =
    "\n"
    "Measures from the photos where each sheet of the job's layout lies in the\n"
    "vehicle's frame, with its uncertainty, and says whether that is within the\n"
    "limits.\n"
    "\n"
    "  JOB.yaml           names the lens profile, the layout, the sheets, the plates\n"
    "  PHOTO...           photos; they replace the list in the job file\n"
    "  --json             print the result as one JSON object, also if nothing could\n"
    "                     be measured\n"
    "  --picture OUT.png  draw the result: photo, plan and numbers, 1920 x 1200 px;\n"
    "                     where nothing could be measured, the picture says so\n"
    "  --threads N        work on N photos at a time (default: one a processor); the\n"
    "                     result is the same for any N\n"
    "  --help             print this text\n"
    "Options may stand anywhere; after -- everything is a file.\n"
    "\n"
    "Examples:\n"
    "  trammel check job.yaml\n"
    "  trammel check job.yaml photos/*.jpg --picture result.png\n"
    "  trammel check job.yaml --json > result.json\n"
    "\n"
    "How to shoot:\n"
    "  - The camera, focus, zoom and image size are those of the lens profile. A photo\n"
    "    that tells another camera, focal length or digital zoom (EXIF) is refused, and\n"
    "    stands against a pass.\n"
    "  - Each photo shows plates at the wheels together with the sheet or with other\n"
    "    plates; between them the photos show everything at least twice.\n"
    "  - Take them from several sides, some close; hold still; nothing may move in\n"
    "    between.\n"
    "Photos that are weak (blurred, dark, overexposed, too far away, too flat a view) are\n"
    "listed with what to do; they are used, and weigh little.\n"
    "\n"
    "Verdict: with u95, the expanded uncertainty (k = 2), an axis passes if\n"
    "|error| + u95 is within the limit, fails if |error| - u95 is beyond it, and is\n"
    "inconclusive otherwise. A sheet that was not found is inconclusive. Only a\n"
    "complete measurement gives a pass.\n"
    "\n"
    "Exit status:\n"
    "   0  pass\n"
    "   1  fail\n"
    "   2  inconclusive\n"
    "   3  no measurement possible: bad input, or too few marks. Also where the\n"
    "      picture or the result could not be written, whatever the verdict: the\n"
    "      verdict is still printed, and the reason is on standard error\n"
    "  64  wrong usage\n"
    "\n";

/* ---- What was asked ---- */

typedef struct {
    const char *job;
    char **photos; /* borrowed words, in an owned array */
    int n_photos;
    const char *picture;
    long n_threads; /* 0: one a processor */
    bool is_json, is_help;
} request;

/* Writing the picture must not replace a photo, as --picture with a wildcard would make it. */
static bool ends_in_png(const char *path) {
    size_t n = strlen(path);
    return n > 4 && strcasecmp(path + n - 4, ".png") == 0;
}

static bool is_same_file(const char *a, const char *b) {
    struct stat sa, sb;
    return stat(a, &sa) == 0 && stat(b, &sb) == 0 && sa.st_dev == sb.st_dev &&
           sa.st_ino == sb.st_ino;
}

/* The value of an option that takes one: behind '=' or the next word. */
static bool take_value(int argc, char **argv, int *i, size_t name_length, const char **value,
                       tr_error *err) {
    const char *word = argv[*i];
    if (word[name_length] == '=') {
        *value = word + name_length + 1;
    } else if (*i + 1 < argc) {
        *value = argv[++*i];
    } else {
        return tr_fail(err, TR_BAD_INPUT, "'%s' needs a value", word);
    }
    return true;
}

static bool is_option(const char *word, const char *name) {
    size_t n = strlen(name);
    return strncmp(word, name, n) == 0 && (word[n] == 0 || word[n] == '=');
}

static bool parse_option(int argc, char **argv, int *i, request *r, tr_error *err) {
    static const char PICTURE[] = "--picture", THREADS[] = "--threads";
    const char *word = argv[*i];
    const char *value = NULL;
    if (strcmp(word, "--json") == 0) {
        r->is_json = true;
    } else if (is_option(word, PICTURE)) {
        if (!take_value(argc, argv, i, strlen(PICTURE), &value, err)) return false;
        if (!ends_in_png(value)) {
            return tr_fail(err, TR_BAD_INPUT,
                           "'--picture %.200s': the picture is a PNG; give it a name in .png",
                           value);
        }
        if (r->picture) return tr_fail(err, TR_BAD_INPUT, "'--picture' is given twice");
        r->picture = value;
    } else if (is_option(word, THREADS)) {
        if (!take_value(argc, argv, i, strlen(THREADS), &value, err)) return false;
        if (!tr_integer_parse(value, &r->n_threads) || r->n_threads < 1 ||
            r->n_threads > MAX_THREADS) {
            return tr_fail(err, TR_BAD_INPUT, "'--threads %.40s' is not a number from 1 to %d",
                           value, MAX_THREADS);
        }
    } else {
        return tr_fail(err, TR_BAD_INPUT, "there is no option '%.80s'", word);
    }
    return true;
}

/* r->photos has room for all words. */
static bool parse(int argc, char **argv, request *r, tr_error *err) {
    bool are_options_over = false;
    for (int i = 1; i < argc; i++) {
        char *word = argv[i];
        if (are_options_over || word[0] != '-' || word[1] == 0) {
            if (r->job) {
                r->photos[r->n_photos++] = word;
            } else {
                r->job = word;
            }
        } else if (strcmp(word, "--") == 0) {
            are_options_over = true;
        } else if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0) {
            r->is_help = true;
            return true;
        } else if (!parse_option(argc, argv, &i, r, err)) {
            return false;
        }
    }
    return r->job || tr_fail(err, TR_BAD_INPUT, "no job file is named");
}

/* ---- Output ---- */

static void print_error(const tr_error *err) {
    char line[1024], shown[1024];
    tr_error_print(err, line, sizeof line);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fprintf(stderr, "trammel check: %s\n", shown);
}

/* Colours are for a terminal whose user did not decline them (no-color.org). */
static bool wants_colours(void) {
    const char *declined = getenv("NO_COLOR");
    const char *terminal = getenv("TERM");
    return isatty(STDOUT_FILENO) && !(declined && *declined) &&
           !(terminal && strcmp(terminal, "dumb") == 0);
}

static void show_progress(void *context, int done, int of) {
    (void)context;
    fprintf(stderr, "\r%d of %d photos", done, of);
    if (done == of) fputs("\r\033[K", stderr);
    fflush(stderr);
}

/* Prints the result, or why there is none; check is NULL where not even the job could be read. */
static bool print_result(const request *r, const tr_check *check, const tr_error *why,
                         tr_error *err) {
    bool has_failed = why->code != TR_OK;
    if (r->is_json) {
        json_t *json = has_failed ? tr_check_json_failed(check, why) : tr_check_json(check);
        bool ok = json && tr_json_print(json, stdout);
        json_decref(json);
        if (!json) return tr_fail_memory(err);
        if (!ok) return tr_fail(err, TR_NO_FILE, "the result could not be written");
    } else if (!has_failed) {
        tr_check_text(check, wants_colours(), stdout);
    } else if (check && check->photos) {
        tr_check_text_failed(check, why, wants_colours(), stdout);
    }
    if (fflush(stdout) == 0) return true;
    return tr_fail(err, TR_NO_FILE, "the result could not be written to standard output");
}

static bool write_picture(const request *r, const tr_check *check, const tr_error *why,
                          tr_error *err) {
    if (!r->picture) return true;
    return why->code == TR_OK ? tr_picture_write(check, r->picture, err)
                              : tr_picture_write_failed(check, why, r->picture, err);
}

/* ---- The command ---- */

static bool is_picture_an_input(const request *r, char *const *photos, int n_photos) {
    if (!r->picture) return false;
    bool is_input = is_same_file(r->picture, r->job);
    for (int i = 0; i < n_photos; i++) is_input = is_input || is_same_file(r->picture, photos[i]);
    return is_input;
}

static int exit_status(tr_verdict verdict) {
    switch (verdict) {
    case TR_PASS: return TR_EXIT_PASS;
    case TR_FAIL: return TR_EXIT_FAIL;
    case TR_INCONCLUSIVE: break;
    }
    return TR_EXIT_INCONCLUSIVE;
}

static int run_request(const request *r) {
    tr_job job = {0};
    tr_check check = {0};
    tr_error why = {0}; /* there is no measurement */
    tr_error unwritten[2] = {{0}, {0}};
    bool has_job = tr_job_read(r->job, &job, &why);
    char **photos = r->n_photos > 0 ? r->photos : job.photos;
    int n_photos = r->n_photos > 0 ? r->n_photos : job.n_photos;
    if (is_picture_an_input(r, photos, n_photos)) {
        fprintf(stderr, "trammel check: the picture would replace one of the input files\n%s",
                USAGE);
        tr_job_release(&job);
        return TR_EXIT_USAGE;
    }
    bool ok = has_job &&
              tr_check_photos(&job, photos, n_photos, (int)r->n_threads,
                              isatty(STDERR_FILENO) ? show_progress : NULL, NULL, &check, &why) &&
              tr_check_evaluate(&job, &check, &why);
    int status = ok ? exit_status(check.verdict) : TR_EXIT_NO_MEASURE;
    if (!ok) {
        tr_fail(&why, TR_NO_MEASURE, "the check could not be made"); /* unless a reason is there */
        print_error(&why);
    }
    const tr_check *known = has_job ? &check : NULL;
    /* The verdict first: it is printed even where no picture can be drawn. */
    if (!print_result(r, known, &why, &unwritten[0])) {
        print_error(&unwritten[0]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!write_picture(r, known, &why, &unwritten[1])) {
        print_error(&unwritten[1]);
        status = TR_EXIT_NO_MEASURE;
    }
    tr_check_release(&check);
    tr_job_release(&job);
    return status;
}

int tr_cmd_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    int status = TR_EXIT_NO_MEASURE;
    r.photos = calloc((size_t)argc + 1, sizeof *r.photos);
    if (!r.photos) {
        tr_fail_memory(&err);
        print_error(&err);
    } else if (!parse(argc, argv, &r, &err)) {
        print_error(&err);
        fputs(USAGE, stderr);
        status = TR_EXIT_USAGE;
    } else if (r.is_help) {
        fputs(USAGE, stdout);
        fputs(HELP, stdout);
        tr_text_wrap(stdout, 0, 0, tr_cautions());
        status = TR_EXIT_PASS;
    } else {
        status = run_request(&r);
    }
    free(r.photos);
    return status;
}
