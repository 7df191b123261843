#include "check/lens_age.h"

#include <math.h>
#include <string.h>

/* The day's number. Source: Fliegel, van Flandern, A machine algorithm for processing calendar
   dates, Communications of the ACM 11(10), 1968. */
static double julian_day(int y, int m, int d) {
    int late = (m - 14) / 12; /* -1 in January and February, else 0 */
    return (1461 * (y + 4800 + late)) / 4 + (367 * (m - 2 - 12 * late)) / 12 -
           (3 * ((y + 4900 + late) / 100)) / 4 + d - 32075;
}

/* So many digits as a number; false where they are others. */
static bool read_digits(const char *text, int n, int *out) {
    *out = 0;
    for (int i = 0; i < n; i++) {
        if (text[i] < '0' || text[i] > '9') return false;
        *out = 10 * *out + (text[i] - '0');
    }
    return true;
}

/* NAN where it is none. */
static double hours_of(const char *time) {
    enum { DAY = 10, MOMENT = 20 }; /* characters */
    int y, mon, d;
    int h = 0, min = 0, s = 0;
    size_t n = strlen(time);
    bool is_time = (n == DAY || n == MOMENT) && read_digits(time, 4, &y) && time[4] == '-' &&
                   read_digits(time + 5, 2, &mon) && time[7] == '-' && read_digits(time + 8, 2, &d);
    if (is_time && n == MOMENT)
        is_time = time[10] == 'T' && read_digits(time + 11, 2, &h) && time[13] == ':' &&
                  read_digits(time + 14, 2, &min) && time[16] == ':' &&
                  read_digits(time + 17, 2, &s) && time[19] == 'Z';
    return is_time ? 24 * julian_day(y, mon, d) + h + min / 60.0 + s / 3600.0 : NAN;
}

double tr_hours_between(const char *from, const char *to) {
    return hours_of(to) - hours_of(from);
}

static bool note_old(const tr_lens *lens, double hours, const tr_lens_ages *ages,
                     tr_findings *findings, tr_error *err) {
    return ages->is_demanded
               ? tr_note(LENS_CONFIRMATION_DEMANDED, findings, err, lens->id, hours, ages->hours)
               : tr_note(LENS_UNCONFIRMED, findings, err, lens->id, hours, ages->hours);
}

static bool note_never(const tr_lens *lens, const tr_lens_ages *ages, tr_findings *findings,
                       tr_error *err) {
    return ages->is_demanded
               ? tr_note(LENS_NEVER_CONFIRMED_DEMANDED, findings, err, lens->id, ages->hours)
               : tr_note(LENS_NEVER_CONFIRMED, findings, err, lens->id, ages->hours);
}

/* The day on which a profile was calibrated is that of some place on Earth. */
enum { DAY_HOURS = 24 };

bool tr_lens_ages_note(const tr_job *job, const tr_lens_ages *ages, tr_findings *findings,
                       tr_error *err) {
    bool ok = true;
    for (int i = 0; i < job->n_lenses && ages->hours > 0 && ok; i++) {
        const tr_lens *lens = &job->lenses[i];
        if (lens->is_unknown) continue;
        const char *last = *ages->confirmed[i] ? ages->confirmed[i] : lens->calibrated;
        double hours = tr_hours_between(last, ages->at);
        if (ages->differs[i]) {
            ok = tr_note(LENS_DIFFERS, findings, err, lens->id, fmax(0, hours));
        } else if (isnan(hours) || hours < -DAY_HOURS) {
            ok = note_never(lens, ages, findings, err);
        } else if (hours > ages->hours) {
            ok = note_old(lens, hours, ages, findings, err);
        }
    }
    return ok;
}
