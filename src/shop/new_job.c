#include "shop/new_job.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/listing.h"
#include "base/number.h"
#include "base/text.h"
#include "lens/unknown.h"
#include "sheet/folder.h"
#include "shop/job_text.h"

enum { WORD_SIZE = 4096, MAX_TRIES = 1000, NAME_SIZE = sizeof((tr_job *)NULL)->id };

/* What is made, while it is made. */
typedef struct {
    const tr_shop *shop;
    const tr_new_job *request;
    char *home; /* the shop's folder, an absolute path */
    char *layout_path;
    tr_layout layout;
    tr_sheet_folder sheets;
    tr_usual_reference references[TR_MAX_REFERENCES];
    int n_references;
    char **lens_paths; /* none: it is unknown */
    int n_lenses;
    const tr_sheet *used[TR_MAX_SHEETS]; /* of `sheets` */
    int n_used;
} maker;

/* ---- layout and lens ---- */

static bool has_id(const char *path, const char *id) {
    tr_yaml y = tr_yaml_open(path);
    bool is_it = tr_yaml_is_word(tr_yaml_at(y, "layout"), id);
    return tr_yaml_close(y, NULL) && is_it;
}

/* By its id, where no file has that name: the first one that can be read and has it. *found: NULL
   where there is none. */
static bool find_by_id(const tr_shop *shop, const char *id, char **found, tr_error *err) {
    char **files;
    int n = tr_listing(shop->folders[TR_SHOP_LAYOUTS], tr_name_is_yaml, &files);
    bool ok = n >= 0 || errno != ENOMEM || tr_fail_memory(err);
    *found = NULL;
    for (int i = 0; i < n && ok && !*found; i++) {
        char *path = tr_shop_place(shop, TR_SHOP_LAYOUTS, files[i], err);
        ok = path;
        if (path && has_id(path, id))
            *found = path;
        else
            free(path);
    }
    if (n > 0) tr_listing_release(files, n);
    return ok;
}

static bool find_layout(maker *m, tr_error *err) {
    m->layout_path = tr_shop_path(m->shop, TR_SHOP_LAYOUTS, m->request->layout, err);
    if (!m->layout_path) return false;
    if (access(m->layout_path, F_OK) != 0) {
        char *other;
        if (!find_by_id(m->shop, m->request->layout, &other, err)) return false;
        if (other) {
            free(m->layout_path);
            m->layout_path = other;
        } else if (!tr_shop_has(m->shop, TR_SHOP_LAYOUTS, m->request->layout, m->layout_path,
                                err)) {
            return false;
        }
    }
    return tr_layout_read(m->layout_path, &m->layout, err);
}

static bool add_lens(maker *m, char *path, tr_error *err) {
    char **more = realloc(m->lens_paths, ((size_t)m->n_lenses + 1) * sizeof *more);
    if (!more || !path) {
        free(path);
        if (more) m->lens_paths = more;
        return tr_fail_memory(err);
    }
    m->lens_paths = more;
    more[m->n_lenses++] = path;
    return true;
}

/* The shop's only one. */
static bool find_only_lens(maker *m, tr_error *err) {
    const char *folder = m->shop->folders[TR_SHOP_LENSES];
    char **files;
    char names[160] = "";
    bool ok = true;
    int n = tr_listing(folder, tr_name_is_yaml, &files);
    if (n < 0 && errno == ENOMEM) return tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        size_t used = strlen(names);
        snprintf(names + used, sizeof names - used, "%s%.60s", i > 0 ? ", " : "", files[i]);
    }
    if (n == 1) {
        ok = add_lens(m, tr_shop_place(m->shop, TR_SHOP_LENSES, files[0], err), err);
    } else if (n > 1) {
        ok = tr_fail(err, TR_BAD_INPUT,
                     "the shop has several lens profiles (%s); choose with '--lens NAME', or with "
                     "'--lens NAME,NAME' for photos of several cameras",
                     names);
    } else {
        ok = tr_fail_at(err, TR_BAD_INPUT, folder, 0, NULL,
                        "has no lens profile; make one with 'trammel lens' from photos of the "
                        "checkerboard or, for a first try without, say '--lens %s'",
                        TR_LENS_UNKNOWN_ID);
    }
    if (n > 0) tr_listing_release(files, n);
    return ok;
}

static bool find_lenses(maker *m, tr_error *err) {
    char word[WORD_SIZE];
    const char *rest = m->request->lenses;
    if (!rest) return find_only_lens(m, err);
    if (strcmp(rest, TR_LENS_UNKNOWN_ID) == 0) return true;
    for (const char *name; (name = tr_next_of_list(&rest, word, sizeof word)) != NULL;) {
        char *path = tr_shop_path(m->shop, TR_SHOP_LENSES, name, err);
        if (!add_lens(m, path, err)) return false;
        if (!tr_shop_has(m->shop, TR_SHOP_LENSES, name, path, err)) return false;
    }
    return true;
}

/* ---- sheets and references ---- */

static bool use_sheet(maker *m, const char *id, const char *what, const char *where,
                      tr_error *err) {
    const tr_sheet *sheet = tr_sheet_folder_sheet(&m->sheets, id);
    if (!sheet) {
        return tr_fail(err, TR_BAD_INPUT,
                       "%s %s %s, but no file in %s defines that sheet; design it there "
                       "('trammel design'), or put its file there",
                       what, where, id, m->shop->folders[TR_SHOP_SHEETS]);
    }
    for (int i = 0; i < m->n_used; i++) {
        if (m->used[i] == sheet) return true;
    }
    if (m->n_used == TR_MAX_SHEETS) {
        return tr_fail(err, TR_BAD_INPUT, "the job would have more than %d sheets", TR_MAX_SHEETS);
    }
    m->used[m->n_used++] = sheet;
    return true;
}

static bool has_point(const tr_usual_reference *list, int n, const char *point) {
    for (int i = 0; i < n; i++) {
        if (strcmp(list[i].point, point) == 0) return true;
    }
    return false;
}

/* The shop's, but for points that the layout states; then the layout's. */
static bool merge_references(maker *m, tr_error *err) {
    const tr_layout *l = &m->layout;
    for (int i = 0; i < m->shop->n_references; i++) {
        const tr_usual_reference *r = &m->shop->references[i];
        if (!has_point(l->references, l->n_references, r->point))
            m->references[m->n_references++] = *r;
    }
    if (m->n_references + l->n_references > TR_MAX_REFERENCES) {
        return tr_fail_at(err, TR_BAD_INPUT, l->path, 0, "references",
                          "are, with those of the shop, more than the %d that a job may have",
                          TR_MAX_REFERENCES);
    }
    for (int i = 0; i < l->n_references; i++) m->references[m->n_references++] = l->references[i];
    if (m->n_references == 0) {
        return tr_fail_at(err, TR_BAD_INPUT, m->shop->path, 0, "references",
                          "is missing, and the layout states none: add to it which sheets mark the "
                          "wheels ('trammel help shop' shows how)");
    }
    return m->shop->has_reference_sd ||
           tr_fail_at(err, TR_BAD_INPUT, m->shop->path, 0, "reference_sd_mm",
                      "is missing; say how well sheets sit on their points, as one standard "
                      "deviation per axis: 1.5 is usual for plates under a plumb bob");
}

static bool find_sheets(maker *m, tr_error *err) {
    char word[WORD_SIZE];
    const char *rest = m->request->sheets;
    if (!tr_sheet_folder_read(m->shop->folders[TR_SHOP_SHEETS], &m->sheets, err) ||
        !merge_references(m, err)) {
        return false;
    }
    for (int i = 0; i < m->layout.n_placements; i++) {
        if (!use_sheet(m, m->layout.placements[i].sheet, "the layout", "places", err)) return false;
    }
    for (int i = 0; i < m->n_references; i++) {
        const tr_usual_reference *r = &m->references[i];
        if (*r->sheet && !use_sheet(m, r->sheet, r->point, "is marked by", err)) return false;
    }
    for (const char *id; (id = tr_next_of_list(&rest, word, sizeof word)) != NULL;) {
        if (!use_sheet(m, id, "'--sheets'", "names", err)) return false;
    }
    return true;
}

/* ---- the file ---- */

/* Both absolute: the way from a folder to a file. Owned by the caller; NULL: memory ran out. */
static char *way_to(const char *folder, const char *file) {
    size_t common = 0;
    for (size_t i = 0; folder[i] && folder[i] == file[i]; i++) {
        if (folder[i] == '/') common = i + 1;
    }
    size_t n = strlen(folder);
    if (strncmp(folder, file, n) == 0 && file[n] == '/') return strdup(file + n + 1);
    int n_up = 1;
    for (const char *c = folder + common; *c; c++) n_up += *c == '/';
    size_t rest = strlen(file + common) + 1; /* with its zero */
    char *way = malloc(3 * (size_t)n_up + rest);
    for (int i = 0; i < n_up && way; i++) memcpy(way + 3L * i, "../", 3);
    if (way) memcpy(way + 3L * n_up, file + common, rest);
    return way;
}

/* A file as the job names it: within the shop relative to the job's folder, so that the shop can be
   moved; else by its absolute path. */
static bool put_path(const maker *m, const char *jobs, const char *path, FILE *to, tr_error *err) {
    errno = 0;
    char *absolute = realpath(path, NULL);
    if (!absolute) {
        if (errno == ENOMEM) return tr_fail_memory(err);
        return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "does not exist; check the path");
    }
    size_t n = strlen(m->home);
    bool is_within = strncmp(absolute, m->home, n) == 0 && absolute[n] == '/';
    char *way = is_within ? way_to(jobs, absolute) : NULL;
    bool ok = !is_within || way || tr_fail_memory(err);
    if (ok && !tr_text_is_line(absolute, strlen(absolute))) {
        ok = tr_fail_at(err, TR_BAD_INPUT, path, 0, NULL,
                        "has a name that is not plain text; rename it");
    }
    if (ok) tr_put_word(way ? way : absolute, to);
    free(way);
    free(absolute);
    return ok;
}

static bool put_list(const maker *m, const char *jobs, char *const *paths, int n, FILE *to,
                     tr_error *err) {
    bool ok = true;
    for (int i = 0; i < n && ok; i++) {
        fputs("\n  - ", to);
        ok = put_path(m, jobs, paths[i], to, err);
    }
    return ok;
}

static bool put_lenses(const maker *m, const char *jobs, FILE *to, tr_error *err) {
    fputs("lens:", to);
    if (m->n_lenses == 0) fputs(" " TR_LENS_UNKNOWN_ID, to);
    if (m->n_lenses == 1) fputc(' ', to);
    bool ok = m->n_lenses == 1 ? put_path(m, jobs, m->lens_paths[0], to, err)
                               : put_list(m, jobs, m->lens_paths, m->n_lenses, to, err);
    fputc('\n', to);
    return ok;
}

static void put_confirmed(const maker *m, const char *name, FILE *to) {
    char word[WORD_SIZE];
    char now[TR_LOCAL_TIME_SIZE];
    const tr_new_job *r = m->request;
    const char *by = r->by ? r->by : r->technician;
    const char *rest = r->confirmed;
    if (m->layout.n_preconditions == 0 && !rest) return;
    fprintf(to,
            "# What was seen to before measuring; `trammel confirm %s ID --by NAME` adds to "
            "it.\n",
            name);
    if (!rest) return;
    tr_local_time(now);
    fputs("confirmed:\n", to);
    for (const char *id; (id = tr_next_of_list(&rest, word, sizeof word)) != NULL;) {
        fputs("  - ", to);
        tr_put_confirmation(id, by ? by : "", now, NULL, to);
        fputc('\n', to);
    }
}

static bool put_job(const maker *m, const char *jobs, const char *name, FILE *to, tr_error *err) {
    const tr_new_job *r = m->request;
    char sd[TR_NUMBER_SIZE];
    fputs("# Made by `trammel job`; `trammel help job` explains the keys.\njob: ", to);
    tr_put_word(name, to);
    if (r->vehicle_id) {
        fputs("\nvehicle_id: ", to);
        tr_put_word(r->vehicle_id, to);
    }
    if (r->technician) {
        fputs("\ntechnician: ", to);
        tr_put_word(r->technician, to);
    }
    fputc('\n', to);
    bool ok = put_lenses(m, jobs, to, err);
    fputs("layout: ", to);
    ok = ok && put_path(m, jobs, m->layout_path, to, err);
    fputs("\nsheets:", to);
    for (int i = 0; i < m->n_used && ok; i++) {
        fputs("\n  - ", to);
        ok = put_path(m, jobs, m->used[i]->path, to, err);
    }
    fputs("\nreferences:\n", to);
    for (int i = 0; i < m->n_references; i++) {
        fputs("  - ", to);
        tr_put_reference(&m->references[i], to);
        fputc('\n', to);
    }
    tr_number_print_short(m->shop->reference_sd_mm, sd);
    fprintf(to, "reference_sd_mm: %s\n", sd);
    if (r->n_photos > 0) {
        fputs("photos:", to);
        ok = ok && put_list(m, jobs, r->photos, r->n_photos, to, err);
        fputc('\n', to);
    }
    put_confirmed(m, name, to);
    return ok;
}

/* Owned by the caller; NULL on failure. */
static char *job_text(const maker *m, const char *jobs, const char *name, size_t *size,
                      tr_error *err) {
    char *text = NULL;
    FILE *to = open_memstream(&text, size);
    if (!to) {
        tr_fail_memory(err);
        return NULL;
    }
    bool ok = put_job(m, jobs, name, to, err);
    if (fclose(to) != 0) ok = tr_fail_memory(err);
    if (ok) return text;
    free(text);
    return NULL;
}

/* ---- its name ---- */

/* "J-0007" or "J-0007.yaml": 7; 0: it is no such name. */
static long number_of(const char *name) {
    char *end;
    if (strncmp(name, "J-", 2) != 0 || name[2] < '0' || name[2] > '9') return 0;
    errno = 0;
    long number = strtol(name + 2, &end, 10);
    bool is_whole = *end == 0 || strcmp(end, ".yaml") == 0 || strcmp(end, ".yml") == 0;
    return errno == 0 && is_whole && number < INT_MAX ? number : 0;
}

/* 0 where the folder is not there, or has none. */
static bool highest_number(const char *folder, long *highest, tr_error *err) {
    *highest = 0;
    errno = 0;
    DIR *dir = opendir(folder);
    if (!dir) {
        if (errno == ENOMEM) return tr_fail_memory(err);
        return errno == ENOENT ||
               tr_fail_at(err, TR_NO_FILE, folder, 0, NULL, "is not a folder that can be read");
    }
    for (const struct dirent *e; (e = readdir(dir)) != NULL;) {
        long number = number_of(e->d_name);
        if (number > *highest) *highest = number;
    }
    closedir(dir);
    return true;
}

/* Old photos must not become those of a new job. */
static bool next_name(const tr_shop *shop, char *name, size_t size, tr_error *err) {
    long a;
    long b;
    if (!highest_number(shop->folders[TR_SHOP_JOBS], &a, err) ||
        !highest_number(shop->folders[TR_SHOP_PHOTOS], &b, err)) {
        return false;
    }
    snprintf(name, size, "J-%04ld", (a > b ? a : b) + 1);
    return true;
}

static bool ends_in(const char *name, const char *end) {
    size_t n = strlen(name);
    size_t k = strlen(end);
    return n >= k && strcmp(name + n - k, end) == 0;
}

static bool check_name(const char *name, tr_error *err) {
    size_t n = strlen(name);
    bool is_good = n > 0 && n < NAME_SIZE && tr_text_is_line(name, n) && !strchr(name, '/') &&
                   !ends_in(name, ".yaml") && !ends_in(name, ".yml") && name[0] != '.' &&
                   name[0] != '-' && name[0] != ' ';
    return is_good || tr_fail(err, TR_BAD_INPUT,
                              "'--job %.80s' cannot be the name of a file; give one line of at "
                              "most %d letters, digits and '-', as in J-0147",
                              name, NAME_SIZE - 1);
}

/* ---- on the disk ---- */

static bool make_folder(const char *path, tr_error *err) {
    if (mkdir(path, 0777) == 0 || errno == EEXIST) return true;
    char why[128] = "unknown error";
    (void)strerror_r(errno, why, sizeof why);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "cannot be made (%s)", why);
}

/* Gives the complete file its name, unless there is one of that name. */
static bool take_name(const char *from, const char *path, bool *is_taken, tr_error *err) {
    *is_taken = false;
    if (link(from, path) == 0) return true;
    if (errno != EEXIST) { /* a file system without links: the name first, then what it names */
        int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0) {
            close(fd);
            if (rename(from, path) == 0) return true;
            unlink(path);
        }
    }
    *is_taken = errno == EEXIST;
    char why[128] = "unknown error";
    (void)strerror_r(errno, why, sizeof why);
    return *is_taken || tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "cannot be written (%s)", why);
}

/* Written beside its place and read back. */
static bool stage(const maker *m, const char *jobs, const char *name, const char *job_file,
                  char **staged, tr_error *err) {
    tr_job job;
    char file[64];
    size_t size = 0;
    snprintf(file, sizeof file, ".trammel-job-%ld.yaml", (long)getpid());
    *staged = tr_path_beside(job_file, file);
    if (!*staged) return tr_fail_memory(err);
    tr_error why = {0};
    char *text = job_text(m, jobs, name, &size, &why);
    bool ok = text && tr_file_write(*staged, text, size, &why);
    free(text);
    if (ok && tr_job_read(*staged, &job, &why)) {
        tr_job_release(&job);
        return true;
    }
    if (strcmp(why.file, *staged) == 0) snprintf(why.file, sizeof why.file, "%s", job_file);
    if (err) *err = why;
    return false;
}

static bool write_job(const maker *m, const char *jobs, const char *name, char **path,
                      bool *is_taken, tr_error *err) {
    char *staged = NULL;
    char file[NAME_SIZE + 8];
    snprintf(file, sizeof file, "%s.yaml", name);
    *is_taken = false;
    *path = tr_shop_place(m->shop, TR_SHOP_JOBS, file, err);
    bool is_there = *path && access(*path, F_OK) == 0;
    if (is_there) *is_taken = true;
    bool ok = *path && !is_there && stage(m, jobs, name, *path, &staged, err) &&
              take_name(staged, *path, is_taken, err) && !*is_taken;
    if (staged) unlink(staged);
    free(staged);
    if (ok) return true;
    free(*path);
    *path = NULL;
    return false;
}

/* The name that is wanted, or the next one that is free. */
static bool write_new(const maker *m, const char *jobs, char **path, tr_error *err) {
    const char *wanted = m->request->name;
    bool is_taken = false;
    for (int i = 0; i < (wanted ? 1 : MAX_TRIES); i++) {
        char name[NAME_SIZE];
        if (wanted)
            snprintf(name, sizeof name, "%s", wanted);
        else if (!next_name(m->shop, name, sizeof name, err))
            return false;
        if (write_job(m, jobs, name, path, &is_taken, err)) return true;
        if (!is_taken) return false;
    }
    return tr_fail(err, TR_BAD_INPUT,
                   "a job of the name %s is there already; give another name with '--job'",
                   wanted ? wanted : "J-...");
}

static bool make_photo_folder(const maker *m, const char *path, tr_error *err) {
    char *folder = tr_shop_photo_folder(m->shop, path, err);
    bool ok =
        folder && make_folder(m->shop->folders[TR_SHOP_PHOTOS], err) && make_folder(folder, err);
    free(folder);
    return ok;
}

static bool check_confirmed(const maker *m, tr_error *err) {
    const tr_new_job *r = m->request;
    return !r->confirmed || r->by || r->technician ||
           tr_fail(err, TR_BAD_INPUT,
                   "'--confirm' needs '--by NAME' or '--technician NAME': who "
                   "confirms it");
}

static void release(maker *m) {
    free(m->home);
    free(m->layout_path);
    tr_layout_release(&m->layout);
    tr_sheet_folder_release(&m->sheets);
    for (int i = 0; i < m->n_lenses; i++) free(m->lens_paths[i]);
    free(m->lens_paths);
}

static char *folder_of(const char *file) {
    char *folder = tr_path_beside(file, ".");
    char *absolute = folder ? realpath(folder, NULL) : NULL;
    free(folder);
    return absolute;
}

bool tr_job_make(const tr_shop *shop, const tr_new_job *request, char **path, tr_error *err) {
    maker m = {.shop = shop, .request = request};
    char *jobs = NULL;
    *path = NULL;
    bool ok = (!request->name || check_name(request->name, err)) && check_confirmed(&m, err) &&
              find_layout(&m, err) && find_lenses(&m, err) && find_sheets(&m, err) &&
              make_folder(shop->folders[TR_SHOP_JOBS], err);
    if (ok) {
        m.home = folder_of(shop->path);
        jobs = realpath(shop->folders[TR_SHOP_JOBS], NULL);
        ok = (m.home && jobs) || tr_fail_memory(err);
    }
    ok = ok && write_new(&m, jobs, path, err);
    if (ok && request->n_photos == 0 && !make_photo_folder(&m, *path, err)) {
        ok = false;
        unlink(*path);
        free(*path);
        *path = NULL;
    }
    free(jobs);
    release(&m);
    return ok;
}
