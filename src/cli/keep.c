#include "cli/keep.h"

#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/language.h"
#include "base/text.h"
#include "cli/options.h"
#include "cli/output.h"

enum { SHOWN_DIGITS = 8 };

/* A function of the recorder's module; NULL, with err, where it is not there. */
#define RECORDER(type, name, err) ((type *)tr_module_function("records", name, err))

static void open_recorder(tr_keep *keep, const tr_store_place *place, tr_error *err) {
    if (!place->where) {
        tr_fail(err, TR_BAD_INPUT,
                "there is no store to keep the result in: name one with --store, or work in a "
                "shop's folder (trammel help shop)");
        return;
    }
    tr_recorder_opener *open = RECORDER(tr_recorder_opener, "tr_recorder_open", err);
    if (open) keep->recorder = open(place, keep->made_at, err);
}

static void take_time(char made_at[TR_TIME_SIZE]) {
    time_t now = time(NULL);
    struct tm utc;
    gmtime_r(&now, &utc);
    strftime(made_at, TR_TIME_SIZE, "%Y-%m-%dT%H:%M:%SZ", &utc);
}

void tr_keep_begin(tr_keep *keep, const tr_keep_options *options, const char *near) {
    *keep = (tr_keep){.options = *options};
    take_time(keep->made_at);
    bool has_shop = near ? tr_shop_of_file(near, &keep->shop, &keep->why)
                         : tr_shop_find("", &keep->shop, &keep->why);
    /* A shop that cannot be read may ask for it. */
    keep->is_wanted = !options->is_never &&
                      (options->is_asked || options->store || keep->shop.keeps || !has_shop);
    tr_store_place place = tr_shop_store(&keep->shop, options->store);
    place.make = true;
    if (keep->is_wanted && keep->why.code == TR_OK) {
        open_recorder(keep, &place, &keep->why);
    } else if (keep->shop.lens_check_hours > 0) {
        /* Only to ask: a store that is not there, or cannot be read, tells of no confirmation. */
        tr_error unread = {0};
        place.make = false;
        place.read_only = true;
        open_recorder(keep, &place, &unread);
    }
    tr_keep_resume(keep);
}

void tr_keep_pause(tr_keep *keep) {
    if (keep->recorder) tr_file_observe(NULL);
}

void tr_keep_resume(tr_keep *keep) {
    if (!keep->recorder) return;
    tr_recorder_observing *observer =
        RECORDER(tr_recorder_observing, "tr_recorder_observer", &keep->why);
    if (observer) tr_file_observe(observer(keep->recorder));
}

void tr_keep_add(tr_keep *keep, const char *role, const char *name, const void *data, size_t size) {
    if (!keep->recorder || keep->why.code != TR_OK) return;
    tr_recorder_adder *add = RECORDER(tr_recorder_adder, "tr_recorder_add", &keep->why);
    if (add) (void)add(keep->recorder, role, name, data, size, &keep->why);
}

void tr_keep_confirmation(tr_keep *keep, int i, char made_at[TR_TIME_SIZE], bool *differs) {
    tr_error unread = {0};
    made_at[0] = 0;
    *differs = false;
    if (!keep->recorder) return;
    tr_recorder_hash_finder *hash = RECORDER(tr_recorder_hash_finder, "tr_recorder_hash", &unread);
    tr_recorder_confirmation_finder *find =
        RECORDER(tr_recorder_confirmation_finder, "tr_recorder_confirmation", &unread);
    const char *sha256 = hash ? hash(keep->recorder, "lens", i) : NULL;
    if (!find || !sha256 || !find(keep->recorder, sha256, made_at, differs, &unread)) {
        made_at[0] = 0;
        *differs = false;
    }
}

/* ---- at the end ---- */

static void find_login(char *name, size_t size) {
    const struct passwd *user = getpwuid(getuid());
    tr_text_show(user ? user->pw_name : "", user ? strlen(user->pw_name) : 0, name, size);
}

/* Whoever measured, as the inputs say, the options, or the system. */
static bool keep_as(tr_keep *keep, const tr_measurement *measurement, int64_t *number,
                    char hash[TR_HASH_SIZE]) {
    tr_measurement m = *measurement;
    char login[64];
    find_login(login, sizeof login);
    m.shop = keep->shop.name;
    if (!*m.technician) m.technician = keep->options.by ? keep->options.by : login;
    tr_recorder_keeper *keep_it = RECORDER(tr_recorder_keeper, "tr_recorder_keep", &keep->why);
    return keep_it && keep_it(keep->recorder, &m, number, hash, &keep->why);
}

static void tell(int64_t number, const char *hash, const char *command, bool is_json) {
    char line[160];
    snprintf(line, sizeof line, TR_("Kept as record %lld, %.*s…"), (long long)number, SHOWN_DIGITS,
             hash);
    if (is_json)
        fprintf(stderr, "trammel %s: %s\n", command, line);
    else
        printf("\n%s\n", line);
}

void tr_keep_end(tr_keep *keep) {
    tr_error ignored = {0};
    tr_recorder_closer *close_it =
        keep->recorder ? RECORDER(tr_recorder_closer, "tr_recorder_close", &ignored) : NULL;
    tr_keep_pause(keep);
    if (close_it) close_it(keep->recorder);
    keep->recorder = NULL;
    tr_shop_release(&keep->shop);
}

bool tr_keep_result(tr_keep *keep, const tr_measurement *measurement, json_t *json, bool is_json) {
    tr_measurement kept = *measurement;
    char *text = NULL;
    int64_t number = 0;
    char hash[TR_HASH_SIZE] = "";
    tr_error unwritten = {0};
    tr_keep_pause(keep);
    bool ok = tr_output_make(json, &text, &kept.result_size, &keep->why);
    kept.result = text;
    ok = ok && keep->why.code == TR_OK && keep_as(keep, &kept, &number, hash);
    if (ok) {
        tell(number, hash, kept.kind, is_json);
        ok = tr_output_end(&unwritten);
    } else {
        fprintf(stderr, "trammel %s: %s\n", kept.kind, TR_("the result was not kept as a record:"));
        tr_options_print_error(kept.kind, &keep->why);
    }
    free(text);
    tr_keep_end(keep);
    return ok;
}
