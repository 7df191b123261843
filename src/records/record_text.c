#include "records/record_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "present/words.h"

/* ---- cells ---- */

/* Whatever the text is, as far as `columns` go. */
static void show(const char *text, int columns, char out[TR_ROW_CELL_SIZE]) {
    char shown[TR_ROW_CELL_SIZE];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    tr_text_fit(*shown ? shown : "–", columns, out, TR_ROW_CELL_SIZE);
}

/* The words in which verdicts are kept, as people are told them: a shape and a word. */
static const struct {
    const char *kept, *word;
    tr_verdict shape;
} VERDICTS[] = {{"pass", TR_N("pass"), TR_PASS},
                {"fail", TR_N("fail"), TR_FAIL},
                {"inconclusive", TR_N("inconclusive"), TR_INCONCLUSIVE},
                {"no measurement", TR_N("no measurement"), TR_INCONCLUSIVE},
                {"agrees", TR_N("agrees"), TR_PASS},
                {"differs", TR_N("differs"), TR_FAIL},
                {"not enough", TR_N("not enough"), TR_INCONCLUSIVE}};

static void show_verdict(const char *verdict, char out[TR_ROW_CELL_SIZE]) {
    show(verdict, TR_ROW_CELL_SIZE, out);
    for (size_t i = 0; i < sizeof VERDICTS / sizeof *VERDICTS; i++) {
        if (strcmp(verdict, VERDICTS[i].kept) != 0) continue;
        snprintf(out, TR_ROW_CELL_SIZE, "%s %s", tr_verdict_shape(VERDICTS[i].shape),
                 tr_translated(VERDICTS[i].word));
    }
}

const char *tr_record_verdict(const char *said) {
    for (size_t i = 0; i < sizeof VERDICTS / sizeof *VERDICTS; i++) {
        if (strcmp(said, VERDICTS[i].kept) == 0 ||
            strcmp(said, tr_translated(VERDICTS[i].word)) == 0)
            return VERDICTS[i].kept;
    }
    return NULL;
}

/* "2026-01-31 09:30" */
static void show_time(const char *made_at, char out[TR_ROW_CELL_SIZE]) {
    enum { UP_TO_MINUTE = 16 };
    show(made_at, UP_TO_MINUTE + 1, out);
    if (strlen(made_at) <= UP_TO_MINUTE) return;
    snprintf(out, TR_ROW_CELL_SIZE, "%.10s %.5s", made_at, made_at + 11);
}

/* ---- lists ---- */

static const char *const HEADS[TR_ROW_CELLS] = {
    TR_N("record"),  TR_N("made (UTC)"), TR_N("kind"),   TR_N("job"),
    TR_N("vehicle"), TR_N("technician"), TR_N("verdict")};

void tr_record_row_of(const tr_record *record, tr_record_row *out) {
    snprintf(out->cell[0], sizeof out->cell[0], "%lld", (long long)record->number);
    show_time(record->made_at, out->cell[1]);
    show(record->kind, 12, out->cell[2]);
    show(record->job, 20, out->cell[3]);
    show(record->vehicle, 20, out->cell[4]);
    show(record->technician, 16, out->cell[5]);
    show_verdict(record->verdict, out->cell[6]);
}

/* The first column to the right, the others to the left. */
static void put_row(const tr_record_row *row, const int width[TR_ROW_CELLS], FILE *out) {
    for (int k = 0; k < TR_ROW_CELLS; k++) {
        int gap = width[k] - tr_text_columns(row->cell[k]);
        if (k == 0) fprintf(out, "%*s%s", gap, "", row->cell[k]);
        if (k > 0) fprintf(out, "  %s", row->cell[k]);
        if (k > 0 && k + 1 < TR_ROW_CELLS) fprintf(out, "%*s", gap, "");
    }
    fputc('\n', out);
}

void tr_record_rows_text(const tr_record_row *rows, int n, FILE *out) {
    tr_record_row head;
    int width[TR_ROW_CELLS] = {0};
    for (int k = 0; k < TR_ROW_CELLS; k++)
        snprintf(head.cell[k], sizeof head.cell[k], "%s", tr_translated(HEADS[k]));
    for (int i = -1; i < n; i++) {
        for (int k = 0; k < TR_ROW_CELLS; k++) {
            int columns = tr_text_columns(i < 0 ? head.cell[k] : rows[i].cell[k]);
            if (columns > width[k]) width[k] = columns;
        }
    }
    put_row(&head, width, out);
    for (int i = 0; i < n; i++) put_row(&rows[i], width, out);
}

/* ---- one record ---- */

static void put_line(const char *label, const char *text, FILE *out) {
    enum { LABEL_WIDTH = 14 };
    char shown[512];
    int gap = LABEL_WIDTH - tr_text_columns(label);
    if (!*text) return;
    tr_text_show(text, strlen(text), shown, sizeof shown);
    int column = 2 + tr_text_columns(label) + (gap > 0 ? gap : 1);
    fprintf(out, "  %s%*s", label, gap > 0 ? gap : 1, "");
    tr_text_wrap(out, column, column, shown);
}

static void put_sheets(const tr_record *record, FILE *out) {
    char line[512] = "";
    size_t used = 0;
    for (int i = 0; i < record->n_sheets; i++) {
        int n =
            snprintf(line + used, sizeof line - used, "%s%s", i > 0 ? ", " : "", record->sheets[i]);
        if (n < 0 || used + (size_t)n >= sizeof line) break;
        used += (size_t)n;
    }
    bool is_of_lens = strncmp(record->kind, "lens", 4) == 0;
    put_line(is_of_lens ? TR_("lens") : TR_("sheets"), line, out);
}

static void put_files(const tr_record *record, FILE *out) {
    enum { DIGITS = 16 };
    fprintf(out, "\n%s\n", TR_("Files, and how their SHA-256 begins"));
    for (int i = 0; i < record->n_files; i++) {
        const tr_record_file *file = &record->files[i];
        char name[256];
        char role[TR_ROW_CELL_SIZE];
        tr_text_show(file->name, strlen(file->name), name, sizeof name);
        show(file->role, 14, role);
        fprintf(out, "  %s%*s  %.*s  %s\n", role, 14 - tr_text_columns(role), "", DIGITS,
                file->sha256, name);
    }
}

void tr_record_text(const tr_record *record, FILE *out) {
    char cell[TR_ROW_CELL_SIZE];
    fprintf(out, TR_("Record %lld"), (long long)record->number);
    fputc('\n', out);
    put_line(TR_("hash"), record->hash, out);
    put_line(TR_("hash before"), record->previous, out);
    put_line(TR_("id"), record->id, out);
    put_line(TR_("made"), record->made_at, out);
    put_line(TR_("kind"), record->kind, out);
    put_line(TR_("job"), record->job, out);
    put_line(TR_("vehicle"), record->vehicle, out);
    put_line(TR_("technician"), record->technician, out);
    show_verdict(record->verdict, cell);
    if (*record->verdict) put_line(TR_("verdict"), cell, out);
    put_sheets(record, out);
    put_line(TR_("program"), record->program, out);
    if (record->origin_number > 0) {
        char origin[160];
        snprintf(origin, sizeof origin, TR_("record %lld of store %s, hash %s"),
                 (long long)record->origin_number, record->origin_store, record->origin_hash);
        put_line(TR_("came from"), origin, out);
    }
    put_files(record, out);
}

/* ---- measured again ---- */

enum { MOST_ROWS = 20 };

static int by_share(const void *a, const void *b) {
    double sa = tr_pair_share(a);
    double sb = tr_pair_share(b);
    return sa < sb ? 1 : sa > sb ? -1 : 0;
}

static void print_number(const tr_value_pair *pair, int which, char out[32]) {
    if (!pair->has[which]) {
        snprintf(out, 32, "%s", "–");
        return;
    }
    snprintf(out, 32, "%.7g", pair->value[which]);
}

static void put_pair(const tr_value_pair *pair, FILE *out) {
    char then[32];
    char now[32];
    char name[120];
    double share = tr_pair_share(pair);
    print_number(pair, 0, then);
    print_number(pair, 1, now);
    tr_text_fit(pair->name, 34, name, sizeof name);
    fprintf(out, "  %s%*s %*s%s %*s%s  %9.3g", name, 34 - tr_text_columns(name), "",
            12 - tr_text_columns(then), "", then, 12 - tr_text_columns(now), "", now, pair->u95);
    if (isfinite(share)) fprintf(out, "  %7.2g", share);
    fputc('\n', out);
}

/* Those that differ most, by their share of u95. */
static void put_pairs(const tr_comparison *c, FILE *out) {
    tr_value_pair *sorted = calloc((size_t)c->n + 1, sizeof *sorted);
    if (!sorted) return;
    memcpy(sorted, c->items, (size_t)c->n * sizeof *sorted);
    qsort(sorted, (size_t)c->n, sizeof *sorted, by_share);
    fprintf(out, "\n  %-34s %12s %12s  %9s  %7s\n", TR_("value"), TR_("then"), TR_("now"),
            TR_("u95"), TR_("share"));
    for (int i = 0; i < c->n && i < MOST_ROWS; i++) put_pair(&sorted[i], out);
    if (c->n > MOST_ROWS) {
        fprintf(out, TR_("  and %d more, which differ less"), c->n - MOST_ROWS);
        fputc('\n', out);
    }
    free(sorted);
}

static const char *sentence(const tr_remeasurement *r) {
    if (r->is_same) return TR_("Measured again: the same result, byte for byte.");
    if (r->is_same_program)
        return TR_("Measured again by the same version, but the result is another: of one computer "
                   "that must not happen; another computer may round the last digits otherwise.");
    if (tr_comparison_agrees(&r->comparison))
        return TR_("Measured again by another version: no value differs by more than its u95, and "
                   "the verdict is the same.");
    return TR_("Measured again by another version: the verdict is another, or values differ by "
               "more than their u95.");
}

void tr_remeasurement_text(const tr_record *record, const tr_remeasurement *again, FILE *out) {
    const tr_comparison *c = &again->comparison;
    fprintf(out, TR_("Record %lld, made by version %s; this is version %s."),
            (long long)record->number, record->program, TRAMMEL_VERSION);
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, sentence(again));
    if (again->is_same) return;
    fprintf(out, TR_("%d of %d values differ."), c->n, c->n_all);
    fputc('\n', out);
    if (strcmp(c->verdict[0], c->verdict[1]) != 0) {
        fprintf(out, TR_("Verdict then: %s; now: %s."), *c->verdict[0] ? c->verdict[0] : "–",
                *c->verdict[1] ? c->verdict[1] : "–");
        fputc('\n', out);
    }
    if (c->n > 0) put_pairs(c, out);
}
