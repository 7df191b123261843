#include "shop/confirm.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "shop/job_text.h"

enum { MAX_BYTES = 4 << 20 };

static const char KEY[] = "confirmed:";

/* The file, and what becomes of it. Lines are counted from 1. */
typedef struct {
    const tr_confirm *request;
    const char *by;
    char now[TR_LOCAL_TIME_SIZE];
    const char *newline; /* as the file has it */
    int behind;          /* the line behind which new ones come; 0: at the end, under a new key */
    int indent;          /* of an item */
} edit;

/* ---- what is asked ---- */

static int find_precondition(const tr_layout *layout, const char *id) {
    int i = 0;
    while (i < layout->n_preconditions && strcmp(layout->preconditions[i].id, id) != 0) i++;
    return i;
}

static bool fail_unknown(const tr_layout *layout, const char *id, tr_error *err) {
    if (layout->n_preconditions == 0) {
        return tr_fail(err, TR_BAD_INPUT,
                       "layout %s has no preconditions: nothing needs to be confirmed", layout->id);
    }
    char ids[200] = "";
    for (int i = 0; i < layout->n_preconditions; i++) {
        size_t used = strlen(ids);
        const char *next = layout->preconditions[i].id;
        bool has_room = used + strlen(next) + sizeof ", , ..." <= sizeof ids;
        snprintf(ids + used, sizeof ids - used, "%s%s", i > 0 ? ", " : "", has_room ? next : "...");
        if (!has_room) break;
    }
    return tr_fail(err, TR_BAD_INPUT, "'%.64s' is no precondition of layout %s; these are: %s", id,
                   layout->id, ids);
}

static bool check_id(const tr_job *job, const char *path, const char *id, tr_error *err) {
    int p = find_precondition(&job->layout, id);
    if (p == job->layout.n_preconditions) return fail_unknown(&job->layout, id, err);
    const tr_confirmation *c = tr_job_confirmation_of(job, p);
    return !c || !c->is_done ||
           tr_fail_at(err, TR_BAD_INPUT, path, c->line, "confirmed",
                      "has %s already, by %s; what was confirmed is not replaced", id, c->by);
}

static bool check_request(const tr_job *job, const char *path, edit *e, tr_error *err) {
    const tr_confirm *r = e->request;
    const tr_job *j = job;
    e->by = r->by ? r->by : job->technician;
    if (!*e->by && !r->not_done) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--by NAME' is missing: who confirms it; the job names no technician");
    }
    if (strlen(e->by) >= sizeof j->confirmations->by || !tr_text_is_line(e->by, strlen(e->by))) {
        return tr_fail(err, TR_BAD_INPUT, "'--by' is not one line of at most 63 bytes");
    }
    if (r->not_done && (!*r->not_done || !tr_text_is_line(r->not_done, strlen(r->not_done)) ||
                        strlen(r->not_done) >= sizeof j->confirmations->reason)) {
        return tr_fail(err, TR_BAD_INPUT,
                       "'--not-done' is not one line of at most 127 bytes: say why it was not");
    }
    for (int i = 0; i < r->n_ids; i++) {
        if (!check_id(job, path, r->ids[i], err)) return false;
        for (int k = 0; k < i; k++) {
            if (strcmp(r->ids[i], r->ids[k]) == 0)
                return tr_fail(err, TR_BAD_INPUT, "'%.64s' is named twice", r->ids[i]);
        }
    }
    return true;
}

/* ---- lines ---- */

static bool is_blank(const char *line, size_t n) {
    size_t k = strspn(line, " \t\r");
    return k >= n || line[k] == '#';
}

/* The end of the list under `confirmed`. False where it is there, but is no list of lines. */
static bool find_list(const char *text, edit *e) {
    bool is_within = false;
    int number = 0;
    e->behind = 0;
    e->indent = 2;
    for (const char *line = text; *line;) {
        size_t n = strcspn(line, "\n");
        size_t indent = strspn(line, " ");
        bool is_item = is_within && line[indent] == '-';
        number++;
        if (is_within && !is_blank(line, n)) {
            if (indent == 0 && !is_item) break;
            if (is_item && (indent < (size_t)e->indent || e->behind == 0)) e->indent = (int)indent;
            e->behind = number;
        }
        if (strncmp(line, KEY, sizeof KEY - 1) == 0) {
            if (!is_blank(line + sizeof KEY - 1, n - (sizeof KEY - 1))) return false;
            is_within = true;
        }
        line += n + (line[n] == '\n');
    }
    return !is_within || e->behind > 0;
}

static void put_item(const edit *e, const char *id, FILE *to) {
    fprintf(to, "%*s- ", e->indent, "");
    tr_put_confirmation(id, e->by, e->now, e->request->not_done, to);
}

/* The id that is confirmed now and of which this line said that it was not done; NULL: none. */
static const char *replaced_in(const tr_job *job, const edit *e, int line) {
    for (int i = 0; i < e->request->n_ids; i++) {
        int p = find_precondition(&job->layout, e->request->ids[i]);
        const tr_confirmation *c = tr_job_confirmation_of(job, p);
        if (c && c->line == line) return e->request->ids[i];
    }
    return NULL;
}

static void put_new_items(const tr_job *job, const edit *e, FILE *to) {
    for (int i = 0; i < e->request->n_ids; i++) {
        const char *id = e->request->ids[i];
        if (tr_job_confirmation_of(job, find_precondition(&job->layout, id))) continue;
        put_item(e, id, to);
        fputs(e->newline, to);
    }
}

static bool has_new_items(const tr_job *job, const edit *e) {
    for (int i = 0; i < e->request->n_ids; i++) {
        if (!tr_job_confirmation_of(job, find_precondition(&job->layout, e->request->ids[i])))
            return true;
    }
    return false;
}

static void put_file(const tr_job *job, const edit *e, const char *text, FILE *to) {
    int number = 0;
    bool is_ended = true;
    for (const char *line = text; *line;) {
        size_t n = strcspn(line, "\n");
        const char *id = replaced_in(job, e, ++number);
        size_t from = id ? strcspn(line, "}") + 1 : 0; /* what stands behind it, a comment, stays */
        if (id) put_item(e, id, to);
        if (from < n) fwrite(line + from, 1, n - from, to);
        if (id && from >= n && strcmp(e->newline, "\r\n") == 0) fputc('\r', to);
        is_ended = line[n] == '\n';
        if (is_ended) fputc('\n', to);
        if (number == e->behind) {
            if (!is_ended) fputs(e->newline, to);
            put_new_items(job, e, to);
            is_ended = true;
        }
        line += n + (line[n] == '\n');
    }
    if (e->behind > 0 || !has_new_items(job, e)) return;
    if (!is_ended) fputs(e->newline, to);
    fprintf(to, "%s%s", KEY, e->newline);
    put_new_items(job, e, to);
}

/* Owned by the caller; NULL on failure. */
static char *edited(const tr_job *job, const char *path, edit *e, const char *text, size_t *size,
                    tr_error *err) {
    char *out = NULL;
    if (!find_list(text, e)) {
        tr_fail_at(err, TR_BAD_INPUT, path, 0, "confirmed",
                   "is not a list of lines, one a confirmation; write it so, or add to it by hand");
        return NULL;
    }
    e->newline = strstr(text, "\r\n") ? "\r\n" : "\n";
    FILE *to = open_memstream(&out, size);
    if (!to) {
        tr_fail_memory(err);
        return NULL;
    }
    put_file(job, e, text, to);
    if (fclose(to) == 0) return out;
    free(out);
    tr_fail_memory(err);
    return NULL;
}

/* ---- is it right? ---- */

/* What the new file says of a precondition is what is wanted or, of others, what the old one did.
 */
static bool is_as_wanted(const tr_job *old, const tr_job *new, const edit *e, int p) {
    const tr_confirmation *before = tr_job_confirmation_of(old, p);
    const tr_confirmation *after = tr_job_confirmation_of(new, p);
    for (int i = 0; i < e->request->n_ids; i++) {
        if (find_precondition(&old->layout, e->request->ids[i]) != p) continue;
        const char *reason = e->request->not_done ? e->request->not_done : "";
        return after && after->is_done == !e->request->not_done && strcmp(after->by, e->by) == 0 &&
               strcmp(after->at, e->now) == 0 && strcmp(after->reason, reason) == 0;
    }
    if (!before || !after) return before == NULL && after == NULL;
    return before->is_done == after->is_done && strcmp(before->by, after->by) == 0 &&
           strcmp(before->at, after->at) == 0 && strcmp(before->reason, after->reason) == 0;
}

static bool is_same_otherwise(const tr_job *old, const tr_job *new, const edit *e) {
    bool is = strcmp(old->id, new->id) == 0 && strcmp(old->vehicle_id, new->vehicle_id) == 0 &&
              old->n_photos == new->n_photos && old->n_sheets == new->n_sheets &&
              old->n_references == new->n_references && old->n_lenses == new->n_lenses &&
              old->layout.n_preconditions == new->layout.n_preconditions;
    for (int p = 0; p < old->layout.n_preconditions && is; p++) is = is_as_wanted(old, new, e, p);
    return is;
}

/* Read under another name, beside its place, so that paths in it lead where they will. */
static bool read_back(const char *job_file, const tr_job *old, const edit *e, const char *text,
                      size_t size, tr_error *err) {
    tr_job job = {0};
    char file[64];
    snprintf(file, sizeof file, ".trammel-job-%ld.yaml", (long)getpid());
    char *staged = tr_path_beside(job_file, file);
    if (!staged) return tr_fail_memory(err);
    tr_error why = {0};
    bool ok = tr_file_write(staged, text, size, &why);
    bool is_right = ok && tr_job_read(staged, &job, &why) && is_same_otherwise(old, &job, e);
    if (ok) unlink(staged);
    if (!ok) {
        if (strcmp(why.file, staged) == 0) snprintf(why.file, sizeof why.file, "%s", job_file);
        if (err) *err = why;
    }
    free(staged);
    tr_job_release(&job);
    if (is_right || !ok) return is_right;
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    return tr_fail_at(err, TR_BAD_INPUT, job_file, 0, "confirmed",
                      "could not be added to as this file is laid out; add to it by hand ('trammel "
                      "help job' shows how)");
}

/* Nobody else has written it meanwhile. */
static bool check_unchanged(const char *path, const uint8_t *data, size_t size, tr_error *err) {
    uint8_t *now = NULL;
    size_t n = 0;
    if (!tr_file_read(path, MAX_BYTES, &now, &n, err)) return false;
    bool is_same = n == size && memcmp(now, data, size) == 0;
    free(now);
    return is_same || tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                                 "was changed by someone else just now; do it again");
}

static bool change(const char *path, const tr_job *old, edit *e, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    size_t new_size = 0;
    if (!tr_file_read(path, MAX_BYTES, &data, &size, err)) return false;
    char *text = edited(old, path, e, (const char *)data, &new_size, err);
    bool ok = text && read_back(path, old, e, text, new_size, err) &&
              check_unchanged(path, data, size, err) && tr_file_write(path, text, new_size, err);
    free(text);
    free(data);
    return ok;
}

/* Two that confirm at the same time come one after the other: the folder is locked, since the file
   is replaced. -1 where that cannot be had: then check_unchanged notices most of what may happen.
 */
static int lock_folder(const char *path) {
    char *folder = tr_path_beside(path, ".");
    int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    free(folder);
    if (fd >= 0) (void)flock(fd, LOCK_EX);
    return fd;
}

static bool confirm_now(const char *path, const tr_confirm *request, tr_error *err) {
    edit e = {.request = request};
    tr_job old;
    tr_local_time(e.now);
    if (!tr_job_read(path, &old, err)) return false;
    bool ok = check_request(&old, path, &e, err) && change(path, &old, &e, err);
    tr_job_release(&old);
    return ok;
}

bool tr_job_confirm(const char *path, const tr_confirm *request, tr_error *err) {
    int lock = lock_folder(path);
    bool ok = confirm_now(path, request, err);
    if (lock >= 0) close(lock);
    return ok;
}
