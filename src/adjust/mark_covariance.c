#include "adjust/mark_covariance.h"

#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"

/* More rows than of any shop's sheets; the square of them takes 2 GB. */
enum { MAX_ROWS = 16000 };

/* The rows of a print stand once, however many places it was at. */
static bool is_own_print(const tr_adjust_input *in, int sheet) {
    return tr_adjust_print_of(in, sheet) == sheet;
}

static int rows_of_sheet(const tr_adjust_input *in, int sheet) {
    return is_own_print(in, sheet) ? in->sheets[sheet].survey.n_rows : 0;
}

static int rows_of_obs(const tr_net_obs *o) {
    return o->kind == TR_NET_TAG ? TR_TAG_N : TR_CORNER_N;
}

/* d(coordinate) / d(scale) of each row of a sheet. */
static void scale_direction(const tr_sheet *sheet, double *out) {
    int n = 0;
    for (int i = 0; i < sheet->n_tags; i++) {
        const tr_tag *tag = &sheet->tags[i];
        out[n++] = tag->centre_mm.x;
        out[n++] = tag->centre_mm.y;
        out[n++] = 0;
        out[n++] = tr_tag_width(tag);
        out[n++] = tr_tag_height(tag);
    }
    for (int i = 0; i < sheet->n_corners; i++) {
        out[n++] = sheet->corners_mm[i].x;
        out[n++] = sheet->corners_mm[i].y;
    }
}

/* The covariance of all surveyed sheets: each its own, and between those of one survey what they
   have in common. */
static bool fill_covariance(const tr_adjust_input *in, const int *first, tr_mark_covariance *out,
                            tr_error *err) {
    int n = out->n_rows;
    double *direction = tr_array(n, sizeof *direction);
    if (!direction) return tr_fail_memory(err);
    for (int a = 0; a < in->n_sheets; a++) {
        if (rows_of_sheet(in, a) > 0) {
            scale_direction(&in->sheets[a], direction + first[a]);
        }
    }
    for (int a = 0; a < in->n_sheets; a++) {
        const tr_sheet_survey *sa = &in->sheets[a].survey;
        for (int b = 0; b < in->n_sheets; b++) {
            const tr_sheet_survey *sb = &in->sheets[b].survey;
            bool is_common = a != b && strcmp(sa->id, sb->id) == 0;
            double scale = is_common ? sa->scale_sd * sb->scale_sd : 0;
            for (int i = 0; i < rows_of_sheet(in, a); i++) {
                for (int j = 0; j < rows_of_sheet(in, b); j++) {
                    double *c = &out->C[(long)(first[a] + i) * n + first[b] + j];
                    *c = a == b ? sa->covariance[(long)i * sa->n_rows + j]
                                : scale * direction[first[a] + i] * direction[first[b] + j];
                }
            }
        }
    }
    free(direction);
    return true;
}

/* Offset components of a row: d(component) / d(row), TR_OFFSET_N x rows by rows. */
static void offset_of_rows(const tr_sheet *sheet, const tr_mark *mark,
                           double T[TR_OFFSET_N * TR_TAG_N]) {
    int n = mark->kind == TR_MARK_TAG ? TR_TAG_N : TR_CORNER_N;
    memset(T, 0, TR_OFFSET_N * TR_TAG_N * sizeof *T);
    T[TR_OFFSET_X * n] = 1;
    T[TR_OFFSET_Y * n + 1] = 1;
    if (mark->kind != TR_MARK_TAG) return;
    const tr_tag *tag = &sheet->tags[mark->index];
    T[TR_OFFSET_TURN * n + TR_TAG_TURN] = 1;
    T[TR_OFFSET_SCALE * n + TR_TAG_WIDTH] = 0.5 / tr_tag_width(tag);
    T[TR_OFFSET_SCALE * n + TR_TAG_HEIGHT] = 0.5 / tr_tag_height(tag);
    T[TR_OFFSET_DIFFERENTIAL_SCALE * n + TR_TAG_WIDTH] = 0.5 / tr_tag_width(tag);
    T[TR_OFFSET_DIFFERENTIAL_SCALE * n + TR_TAG_HEIGHT] = -0.5 / tr_tag_height(tag);
}

/* Weight with the covariance of the mark's coordinates, mapped into the photo. */
static void weigh(const tr_network *net, int observation, const tr_mark *mark,
                  const double T[TR_OFFSET_N * TR_TAG_N], const double *C, int n_rows, int row,
                  double *W) {
    double J[2 * TR_OBS_MAX_POINTS * TR_OFFSET_N];
    double R[2 * TR_OBS_MAX_POINTS * TR_TAG_N];
    double sum[4 * TR_OBS_MAX_POINTS * TR_OBS_MAX_POINTS];
    double scratch[TR_TAG_N];
    int n = mark->kind == TR_MARK_TAG ? TR_TAG_N : TR_CORNER_N;
    int m = 2 * mark->n_points;
    if (!tr_network_offset_jacobian(net, observation, J)) return;
    tr_dense_multiply(J, T, m, TR_OFFSET_N, n, R);
    memcpy(sum, mark->covariance, (size_t)(m * m) * sizeof *sum);
    tr_dense_add_propagated(R, m, n, C + (long)row * (n_rows + 1), n_rows, scratch, sum);
    double with_mark[4 * TR_OBS_MAX_POINTS * TR_OBS_MAX_POINTS];
    if (!tr_net_whiten(sum, mark->n_points, with_mark)) return;
    memcpy(W, with_mark, (size_t)(m * m) * sizeof *W);
}

/* Where the rows of each sheet begin. */
static bool number_rows(const tr_adjust_input *in, int *first, int *n_rows, tr_error *err) {
    long n = 0;
    for (int s = 0; s < in->n_sheets; s++) {
        first[s] = is_own_print(in, s) ? (int)n : first[tr_adjust_print_of(in, s)];
        n += rows_of_sheet(in, s);
        if (n <= MAX_ROWS) continue;
        return tr_fail(err, TR_BAD_INPUT,
                       "the sheets up to %s have more than %d rows of survey covariance together "
                       "(5 a tag, 2 a corner); leave out sheets, or the surveys of some",
                       in->sheets[s].id, MAX_ROWS);
    }
    *n_rows = (int)n;
    return true;
}

bool tr_mark_covariance_set_up(const tr_adjust_input *in, tr_network *net, tr_mark_covariance *out,
                               tr_error *err) {
    bool ok = false;
    int number = 0;
    memset(out, 0, sizeof *out);
    int *first = tr_array(in->n_sheets, sizeof *first);
    if (!first) return tr_fail_memory(err);
    if (!number_rows(in, first, &out->n_rows, err)) goto out;
    if (out->n_rows == 0) {
        free(first);
        return true;
    }
    out->C = tr_table(out->n_rows, out->n_rows, sizeof *out->C);
    out->row_of = tr_array(net->n_observations, sizeof *out->row_of);
    if (!out->C || !out->row_of) {
        tr_fail_memory(err);
        goto out;
    }
    if (!fill_covariance(in, first, out, err)) goto out;
    for (int i = 0; i < in->n_photos; i++) {
        for (int k = 0; in->photos[i] && k < in->photos[i]->n_marks; k++) {
            const tr_mark *mark = &in->photos[i]->marks[k];
            const tr_sheet *sheet = &in->sheets[mark->sheet];
            tr_net_obs *o = &net->observations[number];
            out->row_of[number] = -1;
            if (sheet->survey.n_rows > 0) {
                double T[TR_OFFSET_N * TR_TAG_N];
                bool is_tag = mark->kind == TR_MARK_TAG;
                int row = is_tag ? tr_sheet_tag_row(mark->index)
                                 : tr_sheet_corner_row(sheet, mark->index);
                out->row_of[number] = first[mark->sheet] + row;
                offset_of_rows(sheet, mark, T);
                if (o->is_used) {
                    weigh(net, number, mark, T, out->C, out->n_rows, out->row_of[number], o->W);
                }
            }
            number++;
        }
    }
    ok = true;
out:
    free(first);
    return ok;
}

void tr_mark_covariance_release(tr_mark_covariance *marks) {
    free(marks->C);
    free(marks->row_of);
    memset(marks, 0, sizeof *marks);
}

/* Sensitivities to the rows of an observation's mark, n x rows: its offset's axis and sizes say
 * how. */
static void sensitivity_of_rows(const tr_network *net, int observation, const double *sensitivity,
                                int n, double *out) {
    const tr_net_obs *o = &net->observations[observation];
    int rows = rows_of_obs(o);
    double width = rows == TR_TAG_N ? tr_v2_norm(tr_v2_sub(o->p_sheet_mm[1], o->p_sheet_mm[0])) : 1;
    double height =
        rows == TR_TAG_N ? tr_v2_norm(tr_v2_sub(o->p_sheet_mm[3], o->p_sheet_mm[0])) : 1;
    for (int u = 0; u < n; u++) {
        const double *g = sensitivity + ((long)u * net->n_observations + observation) * TR_OFFSET_N;
        double *row = out + (long)u * rows;
        row[TR_TAG_X] = g[TR_OFFSET_X];
        row[TR_TAG_Y] = g[TR_OFFSET_Y];
        if (rows != TR_TAG_N) continue;
        row[TR_TAG_TURN] = g[TR_OFFSET_TURN];
        row[TR_TAG_WIDTH] = 0.5 * (g[TR_OFFSET_SCALE] + g[TR_OFFSET_DIFFERENTIAL_SCALE]) / width;
        row[TR_TAG_HEIGHT] = 0.5 * (g[TR_OFFSET_SCALE] - g[TR_OFFSET_DIFFERENTIAL_SCALE]) / height;
    }
}

bool tr_mark_covariance_propagate(const tr_mark_covariance *p, const tr_network *net,
                                  const double *sensitivity, int n, double *once, double *whole,
                                  tr_error *err) {
    int m = p->n_rows;
    bool ok = false;
    double *S = tr_table(n, m, sizeof *S);
    double *row = tr_array(m, sizeof *row);
    double *So = tr_table(n, TR_TAG_N, sizeof *So);
    if (!S || !row || !So) {
        tr_fail_memory(err);
        goto out;
    }
    memset(once, 0, (size_t)n * (size_t)n * sizeof *once);
    memset(whole, 0, (size_t)n * (size_t)n * sizeof *whole);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used || p->row_of[i] < 0) continue;
        int rows = rows_of_obs(o);
        sensitivity_of_rows(net, i, sensitivity, n, So);
        tr_dense_add_propagated(So, n, rows, p->C + (long)p->row_of[i] * (m + 1), m, row, once);
        for (int u = 0; u < n; u++) {
            for (int k = 0; k < rows; k++)
                S[(long)u * m + p->row_of[i] + k] += So[(long)u * rows + k];
        }
    }
    tr_dense_add_propagated(S, n, m, p->C, m, row, whole);
    ok = true;
out:
    free(S);
    free(row);
    free(So);
    return ok;
}
