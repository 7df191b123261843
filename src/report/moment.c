/* Times as a report shows them, all in one form, and how long ago they were. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/language.h"
#include "check/lens_age.h"
#include "report/content.h"

enum { DAY = 10 }; /* characters of "2026-01-31" */

/* Seconds that the zone behind a time is ahead of UTC: "Z", "+01:00". False: there is none. */
static bool read_zone(const char *text, int *ahead_s) {
    enum { SIZE = sizeof "+01:00" - 1, COLON = 3 };
    char *end;
    *ahead_s = 0;
    if (strcmp(text, "Z") == 0) return true;
    if ((*text != '+' && *text != '-') || strlen(text) != SIZE) return false;
    int hours = (int)strtol(text + 1, &end, 10);
    if (end != text + COLON || *end != ':') return false;
    int minutes = (int)strtol(end + 1, &end, 10);
    *ahead_s = (*text == '-' ? -60 : 60) * (60 * hours + minutes);
    return *end == 0;
}

void tr_report_time(const char *time, char out[TR_SHOWN_TIME_SIZE]) {
    enum { MINUTE = 16 }; /* characters up to it */
    char utc[MINUTE + 5];
    struct tm at;
    int ahead_s;
    size_t n = strlen(time);
    snprintf(out, TR_SHOWN_TIME_SIZE, "%s", time);
    if (n < MINUTE) return;
    snprintf(utc, sizeof utc, "%.16s:00Z", time);
    if (utc[DAY] == ' ') utc[DAY] = 'T';
    double hours = tr_hours_between("1970-01-01", utc);
    if (!isfinite(hours)) return;
    const char *zone = time + MINUTE + strspn(time + MINUTE, ":.0123456789");
    bool is_utc = read_zone(zone, &ahead_s);
    if (!is_utc && *zone) return;
    time_t seconds = (time_t)llround(3600 * hours) - ahead_s;
    if (!gmtime_r(&seconds, &at)) return;
    size_t used = strftime(out, TR_SHOWN_TIME_SIZE, "%Y-%m-%d %H:%M", &at);
    snprintf(out + used, TR_SHOWN_TIME_SIZE - used, "%s", is_utc ? " UTC" : "");
}

void tr_report_age(const char *time, const char *check, char *out, size_t size) {
    enum { MANY_HOURS = 48 };
    double hours = tr_hours_between(time, check);
    out[0] = 0;
    if (!(hours >= 0)) return;
    int days = (int)(hours / 24);
    bool is_day = strlen(time) == DAY;
    if (is_day && days == 0)
        snprintf(out, size, "%s", TR_("on the day of this check"));
    else if (is_day && days == 1)
        snprintf(out, size, "%s", TR_("the day before this check"));
    else if (is_day || hours >= MANY_HOURS)
        snprintf(out, size, TR_("%d days before this check"), days);
    else if (hours >= 2)
        snprintf(out, size, TR_("%d hours before this check"), (int)hours);
    else if (hours >= 1)
        snprintf(out, size, "%s", TR_("an hour before this check"));
    else
        snprintf(out, size, "%s", TR_("less than an hour before this check"));
}
