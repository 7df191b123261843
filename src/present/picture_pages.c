#include "present/picture_pages.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/array.h"
#include "base/file.h"
#include "present/area_page.h"
#include "present/free_area.h"
#include "present/words.h"

static bool ends_in_pdf(const char *path) {
    size_t n = strlen(path);
    return n > 4 && strcasecmp(path + n - 4, ".pdf") == 0;
}

/* What any file system takes; a number before it keeps it apart from others. */
static void plain_name(const char *id, char *out, size_t size) {
    static const char PLAIN[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_";
    size_t n = 0;
    for (; id[n] && n + 1 < size; n++) {
        out[n] = '_';
        if (strchr(PLAIN, id[n])) out[n] = id[n];
    }
    out[n] = 0;
}

/* result.png becomes result-WHAT.png; owned by the caller. */
static char *file_beside(const char *path, const char *what) {
    size_t n = strlen(path) + strlen(what) + 2;
    char *file = malloc(n);
    size_t n_stem = strlen(path) - 4; /* .png */
    if (file) snprintf(file, n, "%.*s-%s%s", (int)n_stem, path, what, path + n_stem);
    return file;
}

static bool add(tr_picture_pages *pages, const char *path, tr_picture_page_kind kind, int target,
                const char *what, tr_error *err) {
    tr_picture_page *page = &pages->items[pages->n];
    bool is_first = pages->n == 0;
    *page = (tr_picture_page){.kind = kind, .target = target};
    page->file = is_first || pages->is_pdf ? strdup(path) : file_beside(path, what);
    if (!page->file) return tr_fail_memory(err);
    pages->n++;
    return true;
}

static bool add_target(const tr_check_result *result, int target, const char *path,
                       tr_picture_pages *pages, tr_error *err) {
    char id[64], what[96];
    bool is_failed = result->why.code != TR_OK;
    if (is_failed && pages->is_pdf) return true;
    plain_name(result->sheets[result->targets[target].sheet].id, id, sizeof id);
    snprintf(what, sizeof what, "%d-%s", target + 1, id);
    return add(pages, path, is_failed ? TR_PAGE_FAILED : TR_PAGE_TARGET, target, what, err);
}

/* Photos in which a free area is drawn. */
static int count_area_photos(const tr_check_result *result) {
    int n = 0;
    for (int i = 0; i < result->n_photos && result->n_free_areas > 0; i++) {
        n += tr_sees_free_areas(result, &result->photos[i]);
    }
    return n;
}

static bool add_areas(int n_photos, const char *path, tr_picture_pages *pages, tr_error *err) {
    char what[32];
    for (int first = 0; first < n_photos; first += TR_AREA_PAGE_PHOTOS) {
        snprintf(what, sizeof what, "free-area-%d", first / TR_AREA_PAGE_PHOTOS + 1);
        if (!add(pages, path, TR_PAGE_AREAS, -1, what, err)) return false;
        pages->items[pages->n - 1].first = first;
    }
    return true;
}

bool tr_picture_pages_of(const tr_check_result *result, const char *path, tr_picture_pages *out,
                         tr_error *err) {
    bool is_failed = result->why.code != TR_OK;
    bool has_overview = result->n_targets > 1 || is_failed;
    memset(out, 0, sizeof *out);
    out->is_pdf = ends_in_pdf(path);
    int n_photos = count_area_photos(result);
    out->items = tr_array(result->n_targets + 2L + n_photos, sizeof *out->items);
    if (!out->items) return tr_fail_memory(err);
    if (has_overview) {
        tr_picture_page_kind kind = is_failed ? TR_PAGE_FAILED : TR_PAGE_OVERVIEW;
        if (!add(out, path, kind, -1, "", err)) return false;
    }
    bool has_pages = result->n_targets > 1 || !is_failed;
    for (int i = 0; i < result->n_targets && has_pages; i++) {
        if (!add_target(result, i, path, out, err)) return false;
    }
    return add_areas(n_photos, path, out, err);
}

void tr_picture_pages_release(tr_picture_pages *pages) {
    for (int i = 0; i < pages->n; i++) free(pages->items[i].file);
    free(pages->items);
    memset(pages, 0, sizeof *pages);
}

void tr_check_mark(const tr_check_result *result, char out[TR_CHECK_MARK_SIZE]) {
    char *text = NULL;
    size_t size = 0;
    char hex[65] = "";
    FILE *to = open_memstream(&text, &size);
    if (to) {
        fprintf(to, "%s\n%s\n", result->job, result->layout);
        for (int i = 0; i < result->n_photos; i++) {
            fprintf(to, "%s\n", result->photos[result->order[i]].sha256);
        }
        for (int i = 0; i < result->n_targets; i++) {
            for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
                tr_axis_cells cells;
                tr_axis_cells_of(axis, &result->targets[i].axis[axis], &cells);
                fprintf(to, "%s %s\n", cells.measured, cells.u95);
            }
        }
        if (fclose(to) == 0 && text) tr_sha256_hex(text, size, hex);
    }
    free(text);
    snprintf(out, TR_CHECK_MARK_SIZE, "%.4s-%.4s", hex, hex + (*hex ? 4 : 0));
}
