#include "print/shop.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "base/yaml.h"
#include "tags/names.h"

static int is_yaml(const struct dirent *entry) {
    const char *dot = strrchr(entry->d_name, '.');
    return dot && dot != entry->d_name &&
           (strcasecmp(dot, ".yaml") == 0 || strcasecmp(dot, ".yml") == 0);
}

/* Not alphasort, which follows the locale. */
static int by_name(const struct dirent **a, const struct dirent **b) {
    return strcmp((*a)->d_name, (*b)->d_name);
}

/* A sheet file is told by its tags. */
static bool has_tags(const char *path, bool *has, tr_error *err) {
    tr_yaml y = tr_yaml_open(path);
    *has = tr_yaml_has(tr_yaml_at(y, "tags"));
    return tr_yaml_close(y, err);
}

static bool read_file(const char *folder, const char *name, tr_shop *shop, tr_error *err) {
    size_t size = strlen(folder) + strlen(name) + 2;
    char *path = malloc(size);
    bool is_sheet = false;
    if (!path) return tr_fail_memory(err);
    size_t n = strlen(folder);
    snprintf(path, size, "%s%s%s", folder, n == 0 || folder[n - 1] == '/' ? "" : "/", name);
    bool ok = has_tags(path, &is_sheet, err);
    if (ok && is_sheet) {
        ok = tr_sheet_read_any(path, &shop->sheets[shop->n], err);
        shop->n += ok;
    }
    free(path);
    return ok;
}

bool tr_shop_read(const char *folder, tr_shop *out, tr_error *err) {
    struct dirent **files = NULL;
    *out = (tr_shop){0};
    errno = 0;
    int n = scandir(*folder ? folder : ".", &files, is_yaml, by_name);
    if (n < 0) {
        if (errno == ENOMEM) return tr_fail_memory(err);
        return tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
                          "is not a folder that can be read; name the shop's folder of sheet files "
                          "with --sheets, or make it first");
    }
    out->sheets = calloc((size_t)n + 1, sizeof *out->sheets);
    bool ok = out->sheets || tr_fail_memory(err);
    for (int i = 0; i < n; i++) {
        ok = ok && read_file(folder, files[i]->d_name, out, err);
        free(files[i]);
    }
    free(files);
    if (!ok) tr_shop_release(out);
    return ok;
}

void tr_shop_release(tr_shop *shop) {
    for (int i = 0; i < shop->n; i++) tr_sheet_release(&shop->sheets[i]);
    free(shop->sheets);
    *shop = (tr_shop){0};
}

static bool has_tag(const tr_sheet *s, const char *family, int id) {
    if (strcmp(s->tag_family, family) != 0) return false;
    for (int i = 0; i < s->n_tags; i++) {
        if (s->tags[i].id == id) return true;
    }
    return false;
}

const tr_sheet *tr_shop_owner(const tr_shop *shop, const char *family, int id) {
    for (int i = 0; i < shop->n; i++) {
        if (has_tag(&shop->sheets[i], family, id)) return &shop->sheets[i];
    }
    return NULL;
}

const tr_sheet *tr_shop_sheet(const tr_shop *shop, const char *sheet_id) {
    for (int i = 0; i < shop->n; i++) {
        if (strcmp(shop->sheets[i].id, sheet_id) == 0) return &shop->sheets[i];
    }
    return NULL;
}

bool tr_shop_choose(const tr_shop *shop, const char *family, int low, int high, int n, int *ids,
                    tr_error *err) {
    int n_free = 0;
    for (int id = low; id <= high && n_free < n; id++) {
        if (!tr_shop_owner(shop, family, id)) ids[n_free++] = id;
    }
    if (n_free == n) return true;
    return tr_fail(err, TR_BAD_INPUT,
                   "the sheet needs %d tags, but %d of %s %d..%d can be had; give another range "
                   "with --ids (the family has 0..%d), or another --family",
                   n, n_free, family, low, high, tr_tag_family_size(family) - 1);
}

static int next_id(const tr_sheet *s, int from, int high) {
    while (from <= high && !has_tag(s, s->tag_family, from)) from++;
    return from;
}

void tr_shop_print_ids(const tr_sheet *s, int low, int high, int column, int indent, FILE *out) {
    bool is_first = true;
    for (int first = next_id(s, low, high); first <= high;) {
        char text[32];
        int last = first;
        while (last < high && has_tag(s, s->tag_family, last + 1)) last++;
        int next = next_id(s, last + 1, high);
        const char *comma = next <= high ? "," : "";
        int n = first == last ? snprintf(text, sizeof text, "%d%s", first, comma)
                              : snprintf(text, sizeof text, TR_("%d to %d%s"), first, last, comma);
        if (!is_first && column + 1 + n > TR_TEXT_WIDTH) {
            fprintf(out, "\n%*s", indent, "");
            column = indent;
        } else if (!is_first) {
            fputc(' ', out);
            column++;
        }
        fputs(text, out);
        column += n;
        is_first = false;
        first = next;
    }
    fputc('\n', out);
}

void tr_shop_print_taken(const tr_shop *shop, const char *family, int low, int high, FILE *out) {
    for (int i = 0; i < shop->n; i++) {
        const tr_sheet *s = &shop->sheets[i];
        char shown[sizeof s->id + 8];
        if (strcmp(s->tag_family, family) != 0 || next_id(s, low, high) > high) continue;
        tr_text_show(s->id, strlen(s->id), shown, sizeof shown);
        fprintf(out, "  %s: ", shown);
        tr_shop_print_ids(s, low, high, 4 + tr_text_columns(shown), 4, out);
    }
}
