#include "shop/job_text.h"

#include <string.h>
#include <strings.h>
#include <time.h>

#include "base/number.h"
#include "base/yaml_write.h"

void tr_local_time(char out[TR_LOCAL_TIME_SIZE]) {
    char zone[8] = "";
    time_t now = time(NULL);
    struct tm here;
    if (!localtime_r(&now, &here)) memset(&here, 0, sizeof here);
    size_t n = strftime(out, TR_LOCAL_TIME_SIZE, "%Y-%m-%dT%H:%M:%S", &here);
    /* +0100, but ISO 8601 has a colon with these. */
    if (strftime(zone, sizeof zone, "%z", &here) == 5)
        snprintf(out + n, TR_LOCAL_TIME_SIZE - n, "%.3s:%.2s", zone, zone + 3);
}

/* Words that YAML 1.1 takes for null or a boolean, in any case. */
static bool is_taken_otherwise(const char *text) {
    static const char *const WORDS[] = {"null", "true", "false", "yes", "no",
                                        "on",   "off",  "y",     "n"};
    for (size_t i = 0; i < sizeof WORDS / sizeof *WORDS; i++) {
        if (strcasecmp(text, WORDS[i]) == 0) return true;
    }
    return false;
}

void tr_put_word(const char *text, FILE *to) {
    static const char LETTERS[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    static const char PLAIN[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./";
    bool begins_plain = *text && (strchr(LETTERS, *text) || strncmp(text, "../", 3) == 0);
    if (begins_plain && strspn(text, PLAIN) == strlen(text) && !is_taken_otherwise(text))
        fputs(text, to);
    else
        tr_yaml_put_text(to, text);
}

static void put_key(const char *key, const char *text, FILE *to) {
    fprintf(to, ", %s: ", key);
    tr_put_word(text, to);
}

void tr_put_confirmation(const char *id, const char *by, const char *at, const char *not_done,
                         FILE *to) {
    fputs("{ id: ", to);
    tr_put_word(id, to);
    if (not_done) put_key("not_done", not_done, to);
    if (*by) put_key("by", by, to);
    fprintf(to, ", at: %s }", at);
}

static void put_number(double value, FILE *to) {
    char text[TR_NUMBER_SIZE];
    tr_number_print_short(value, text);
    fputs(text, to);
}

void tr_put_reference(const tr_usual_reference *r, FILE *to) {
    fputs("{ point: ", to);
    tr_put_word(r->point, to);
    if (*r->sheet) {
        put_key("sheet", r->sheet, to);
    } else {
        fprintf(to, ", tag: %d, size_mm: ", r->tag);
        put_number(r->size_mm, to);
    }
    if (r->has_at) {
        fputs(", at_mm: [", to);
        put_number(r->at_mm.x, to);
        fputs(", ", to);
        put_number(r->at_mm.y, to);
        fputc(']', to);
    }
    if (r->has_standoff) {
        fputs(", standoff_mm: ", to);
        put_number(r->standoff_mm, to);
    }
    if (*r->on) put_key("on", r->on, to);
    fputs(" }", to);
}

const char *tr_next_of_list(const char **list, char *word, size_t size) {
    if (!*list) return NULL;
    size_t n = strcspn(*list, ",");
    snprintf(word, size, "%.*s", (int)n, *list);
    *list = (*list)[n] ? *list + n + 1 : NULL;
    return word;
}
