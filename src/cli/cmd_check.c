/* trammel check: from a job and its photos to the verdict. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check/check.h"
#include "cli/options.h"
#include "present/check_json.h"
#include "present/check_text.h"
#include "present/json.h"
#include "present/picture.h"

static const char USAGE[] =
    "usage: trammel check JOB.yaml [PHOTO...] [--json] [--picture OUT.png]\n"
    "                     [--threads N]\n";

static const char HELP[] =
    "\n"
    "Measures from the photos where each sheet of the job's layout lies in the\n"
    "vehicle's frame, with its uncertainty, and says whether that is within the\n"
    "limits.\n"
    "\n"
    "  JOB.yaml           names the lens profile (or `lens: unknown`), the layout, the\n"
    "                     sheets, the plates\n"
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
    "How to lay the plates:\n"
    "  - A plumb bob hangs from the middle of each wheel's hub cap, just outside the\n"
    "    tyre. The plate's marked edge goes against the tyre, the bob's tip over the\n"
    "    plumb mark. Which way the plate is turned does not matter.\n"
    "  - The plate's reference in the job says where its plumb mark is, as printed\n"
    "    beside it: { point: rear-left, sheet: PLATE-A, at_mm: [95, 0] }. Without\n"
    "    at_mm the bob hangs over the centre mark.\n"
    "\n"
    "Several cameras:\n"
    "  - `lens: [lens/a.yaml, lens/b.yaml]` in the job lists a profile for each. A photo\n"
    "    is measured with the one that its EXIF fits: camera, focal length, image size.\n"
    "  - A photo that does not tell, or fits two, is not used until the job names its\n"
    "    profile: `photos: [1.jpg, { file: 2.jpg, lens: lens/b.yaml }]`. That holds for\n"
    "    this file on the command line, too.\n"
    "\n"
    "A first try without a lens profile:\n"
    "  - `lens: unknown` in the job: the lens is found from the photos themselves, which\n"
    "    must be of one camera, zoom and image size, and at least four. u95 carries what\n"
    "    they leave open, and the result says what 'trammel lens' would gain.\n"
    "\n"
    "How to shoot:\n"
    "  - The camera, focus, zoom and image size are those of the lens profile. A\n"
    "    photo that tells another camera, focal length or digital zoom (EXIF) is\n"
    "    refused, and stands against a pass.\n"
    "  - Take six to eight. Each shows plates at the wheels together with the sheet or\n"
    "    with other plates; each plate is in two of them or more, best together with\n"
    "    the sheet. One shows plates of the left and of the right side together, or a\n"
    "    sheet that was moved while you walked round would not be noticed.\n"
    "  - With a phone, turn it by a quarter for two of them: that tells how its lens\n"
    "    shifts from photo to photo.\n"
    "  - Take them from several sides, some close; hold still; nothing may move in\n"
    "    between.\n"
    "Photos that are weak (blurred, dark, overexposed, too far away, too flat a view)\n"
    "are listed with what to do; they are used, and weigh little.\n"
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
    char **photos; /* words of argv */
    int n_photos;
    const char *picture;
    long n_threads; /* 0: one a processor */
    bool is_json, is_help;
} request;

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    const char *threads = NULL;
    const tr_option options[] = {{"--picture", &r->picture, NULL},
                                 {"--threads", &threads, NULL},
                                 {"--json", NULL, &r->is_json}};
    int n;
    if (!tr_options_parse(argc, argv, options, sizeof options / sizeof *options, &n, &r->is_help,
                          err)) {
        return false;
    }
    if (r->is_help) return true;
    /* So that a wildcard behind --picture does not make it replace a photo. */
    if (r->picture && !tr_options_ends_in(r->picture, ".png")) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--picture %.200s': the picture is a PNG; give it a name in .png",
                       r->picture);
    }
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no job file is named");
    r->job = argv[1];
    r->photos = argv + 2;
    r->n_photos = n - 1;
    return tr_options_threads(threads, &r->n_threads, err);
}

/* ---- Output ---- */

/* Colours are for a terminal whose user did not decline them (no-color.org). */
static bool wants_colours(void) {
    const char *declined = getenv("NO_COLOR");
    const char *terminal = getenv("TERM");
    return isatty(STDOUT_FILENO) && !(declined && *declined) &&
           !(terminal && strcmp(terminal, "dumb") == 0);
}

static bool print_result(const request *r, const tr_check_result *result, tr_error *err) {
    if (r->is_json) {
        json_t *json = tr_check_json(result);
        bool ok = json && tr_json_print(json, stdout);
        json_decref(json);
        if (!json) return tr_fail_memory(err);
        if (!ok) return tr_fail(err, TR_NO_FILE, "the result could not be written");
    } else if (result->why.code == TR_OK || result->n_photos > 0) {
        tr_check_text(result, wants_colours(), stdout);
    }
    if (fflush(stdout) == 0) return true;
    return tr_fail(err, TR_NO_FILE, "the result could not be written to standard output");
}

static bool write_picture(const request *r, const tr_check *check, tr_error *err) {
    if (!r->picture) return true;
    tr_picture_writer *write =
        (tr_picture_writer *)tr_module_function("picture", "tr_picture_write", err);
    return write && write(&check->result, &check->set, r->picture, err);
}

/* ---- The command ---- */

static bool is_picture_an_input(const request *r, char *const *photos, int n_photos) {
    if (!r->picture) return false;
    bool is_input = tr_options_is_same_file(r->picture, r->job);
    for (int i = 0; i < n_photos; i++)
        is_input = is_input || tr_options_is_same_file(r->picture, photos[i]);
    return is_input;
}

static int exit_status(const tr_check_result *result) {
    if (result->why.code != TR_OK) return TR_EXIT_NO_MEASURE;
    switch (result->verdict) {
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
        tr_error usage = {0};
        (void)tr_fail(&usage, TR_BAD_INPUT, "the picture would replace one of the input files");
        tr_job_release(&job);
        return tr_options_refuse("check", &usage, USAGE);
    }
    const tr_workers workers = {.n_threads = (int)r->n_threads,
                                .progress = tr_options_show_progress};
    bool ok = has_job && tr_check_photos(&job, photos, n_photos, &workers, &check, &why) &&
              tr_check_evaluate(&job, &check, &why);
    tr_error unfinished = {0};
    if (!ok) {
        tr_fail(&why, TR_NO_MEASURE, "the check could not be made"); /* unless a reason is there */
    }
    if (!tr_check_finish(&check, ok ? NULL : &why, &unfinished)) check.result.why = unfinished;
    int status = exit_status(&check.result);
    if (status == TR_EXIT_NO_MEASURE) tr_options_print_error("check", &check.result.why);
    /* The verdict first: it is printed even where no picture can be drawn. */
    if (!print_result(r, &check.result, &unwritten[0])) {
        tr_options_print_error("check", &unwritten[0]);
        status = TR_EXIT_NO_MEASURE;
    }
    if (!write_picture(r, &check, &unwritten[1])) {
        tr_options_print_error("check", &unwritten[1]);
        status = TR_EXIT_NO_MEASURE;
    }
    tr_check_release(&check);
    tr_job_release(&job);
    return status;
}

int tr_cmd_check(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse("check", &err, USAGE);
    if (r.is_help) return tr_options_help(USAGE, HELP);
    return run_request(&r);
}
