#include "print/sheet_ids.h"

#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "tags/names.h"

bool tr_sheet_ids_choose(const tr_sheet_folder *folder, const char *family, int low, int high,
                         int n, int *ids, tr_error *err) {
    int n_free = 0;
    for (int id = low; id <= high && n_free < n; id++) {
        if (!tr_sheet_folder_owner(folder, family, id)) ids[n_free++] = id;
    }
    if (n_free == n) return true;
    return tr_fail(err, TR_BAD_INPUT,
                   "the sheet needs %d tags, but %d of %s %d..%d can be had; give another range "
                   "with --ids (the family has 0..%d), or another --family",
                   n, n_free, family, low, high, tr_tag_family_size(family) - 1);
}

static int next_id(const tr_sheet *s, int from, int high) {
    while (from <= high && !tr_sheet_has_tag(s, s->tag_family, from)) from++;
    return from;
}

void tr_sheet_ids_print(const tr_sheet *s, int low, int high, int column, int indent, FILE *out) {
    bool is_first = true;
    for (int first = next_id(s, low, high); first <= high;) {
        char text[32];
        int last = first;
        while (last < high && tr_sheet_has_tag(s, s->tag_family, last + 1)) last++;
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

void tr_sheet_ids_print_taken(const tr_sheet_folder *folder, const char *family, int low, int high,
                              FILE *out) {
    for (int i = 0; i < folder->n; i++) {
        const tr_sheet *s = &folder->sheets[i];
        char shown[sizeof s->id + 8];
        if (strcmp(s->tag_family, family) != 0 || next_id(s, low, high) > high) continue;
        tr_text_show(s->id, strlen(s->id), shown, sizeof shown);
        fprintf(out, "  %s: ", shown);
        tr_sheet_ids_print(s, low, high, 4 + tr_text_columns(shown), 4, out);
    }
}
