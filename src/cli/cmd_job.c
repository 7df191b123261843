/* trammel job: a new job of the shop. */
#include "cli/commands.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "cli/job_told.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "job/vin.h"
#include "shop/new_job.h"
#include "shop/shop.h"

enum { VIN_PLACES = 17 };

typedef struct {
    tr_new_job job;
    char vin[64];
    bool is_help;
} request;

static bool check_line(const char *option, const char *value, size_t size, tr_error *err) {
    if (!value || (*value && strlen(value) < size && tr_text_is_line(value, strlen(value)))) {
        return true;
    }
    return tr_fail(err, TR_BAD_INPUT, "'%s' is not one line of at most %zu letters", option,
                   size - 1);
}

/* Small letters are typed, but capitals are meant. */
static bool set_vin(request *r, const char *vin, tr_error *err) {
    if (!vin) return true;
    if (!check_line("--vin", vin, sizeof r->vin, err)) return false;
    for (size_t i = 0; i <= strlen(vin); i++) r->vin[i] = (char)toupper((unsigned char)vin[i]);
    r->job.vehicle_id = r->vin;
    if (tr_vin_check(r->vin) != TR_VIN_MALFORMED) return true;
    if (strlen(r->vin) != VIN_PLACES) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--vin %s' has %zu characters, but a vehicle identification number has %d; "
                       "read it from the vehicle again",
                       r->vin, strlen(r->vin), VIN_PLACES);
    }
    size_t bad = strspn(r->vin, "0123456789ABCDEFGHJKLMNPRSTUVWXYZ");
    return tr_fail(err, TR_BAD_INPUT,
                   "'--vin %s' has a character in place %zu that no vehicle identification number "
                   "has: these are of capital letters and digits, without I, O and Q",
                   r->vin, bad + 1);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    tr_new_job *j = &r->job;
    const char *vin = NULL;
    const tr_job *sizes = NULL;
    const tr_option options[] = {{"--layout", &j->layout, NULL},
                                 {"--vin", &vin, NULL},
                                 {"--technician", &j->technician, NULL},
                                 {"--lens", &j->lenses, NULL},
                                 {"--sheets", &j->sheets, NULL},
                                 {"--confirm", &j->confirmed, NULL},
                                 {"--by", &j->by, NULL},
                                 {"--job", &j->name, NULL}};
    int n;
    if (!tr_options_parse(&tr_help_job_command, argc, argv, options,
                          sizeof options / sizeof *options, &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (!j->layout) return tr_fail(err, TR_BAD_INPUT, "'--layout' is missing: what is required");
    j->photos = argv + 1;
    j->n_photos = n;
    return check_line("--technician", j->technician, sizeof sizes->technician, err) &&
           check_line("--by", j->by, sizeof sizes->confirmations->by, err) && set_vin(r, vin, err);
}

/* ---- what was made ---- */

static void put_line(const char *title, const char *text) {
    char shown[1024];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    enum { COLUMN = 13 };
    int gap = COLUMN - 3 - tr_text_columns(title);
    printf("  %s %*s", title, gap > 0 ? gap : 0, "");
    tr_text_wrap(stdout, COLUMN, COLUMN, shown);
}

static void put_lenses(const tr_job *job) {
    char text[1024] = "";
    for (int i = 0; i < job->n_lenses; i++) {
        size_t used = strlen(text);
        snprintf(text + used, sizeof text - used, "%s%s", i > 0 ? ", " : "", job->lenses[i].id);
    }
    put_line(TR_("lens"),
             job->lenses[0].is_unknown
                 ? TR_("unknown: found from the photos, of which there must be at least four")
                 : text);
}

static void put_references(const tr_job *job) {
    for (int i = 0; i < job->n_references; i++) {
        const tr_reference *r = &job->references[i];
        char text[256];
        snprintf(text, sizeof text, TR_("%s marks %s"), job->sheets[r->sheet].id,
                 tr_reference_name(r));
        put_line(i == 0 ? TR_("wheels") : "", text);
    }
}

static void put_vehicle(const tr_job *job) {
    char text[512];
    snprintf(text, sizeof text, "%s%s%s", job->layout.vehicle, *job->vehicle_id ? ", " : "",
             job->vehicle_id);
    put_line(TR_("vehicle"), text);
}

static bool print_job(const tr_shop *shop, const request *r, const char *path, const tr_job *job,
                      tr_error *err) {
    char text[6000], name[512], folder[4200];
    char *photos = tr_shop_photo_folder(shop, path, err);
    if (!photos) return false;
    fputs(TR_("Made: "), stdout);
    tr_options_print_word(path);
    putchar('\n');
    put_vehicle(job);
    put_line(TR_("layout"), job->layout.id);
    for (int i = 0; i < job->layout.n_placements; i++) {
        put_line(i == 0 ? TR_("targets") : "", job->layout.placements[i].sheet);
    }
    put_references(job);
    put_lenses(job);
    tr_tell_preconditions(job);
    tr_options_quote(job->id, name, sizeof name);
    tr_options_quote(photos, folder, sizeof folder);
    if (r->job.n_photos > 0)
        snprintf(text, sizeof text, TR_("Next: trammel check %s"), name);
    else
        snprintf(text, sizeof text, TR_("Next: put the photos into %s, then trammel check %s"),
                 folder, name);
    tr_text_wrap(stdout, 0, 0, text);
    free(photos);
    return tr_output_end(err);
}

/* Not a reason against the job. */
static void warn_of_vin(const request *r) {
    if (!r->job.vehicle_id || tr_vin_check(r->vin) == TR_VIN_OK) return;
    fprintf(stderr,
            TR_("trammel job: the check digit of %s (its ninth character) does not fit; read it "
                "from the vehicle again. Outside North America it may be anything.\n"),
            r->vin);
}

static bool make_job(const request *r, tr_error *err) {
    tr_shop shop;
    tr_job job = {0};
    char *path = NULL;
    if (!tr_shop_find("", &shop, err)) return false;
    bool ok =
        shop.path || tr_fail(err, TR_NO_FILE,
                             "there is no shop here: neither this folder nor one above it has a "
                             "trammel.yaml; make one with 'trammel shop DIR', and work in it");
    ok = ok && tr_job_make(&shop, &r->job, &path, err) && tr_job_read(path, &job, err) &&
         print_job(&shop, r, path, &job, err);
    if (ok) warn_of_vin(r);
    tr_job_release(&job);
    free(path);
    tr_shop_release(&shop);
    return ok;
}

int tr_cmd_job(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_job_command, &err);
    if (r.is_help) return tr_options_help(&tr_help_job_command);
    if (make_job(&r, &err)) return TR_EXIT_PASS;
    tr_options_print_error("job", &err);
    return TR_EXIT_NO_MEASURE;
}
