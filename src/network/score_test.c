#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "geom/dense.h"
#include "network/network.h"
#include "network/problem.h"

/* Most unknowns that a hypothesis adds: b. a: those of the network. */
enum { MAX_ADDED = 6 };

/* A pivot of what is left of an added unknown's normal equation after the others, below which it is
   rounding: the network determines no such difference. */
static const double NOTHING_LEFT = 1e-9;

/* The normal equations of added unknowns, weighted as the network's: H_ab by rows (n_unknowns x n),
   H_bb, g_b. */
typedef struct {
    int n;
    double *H_ab;
    double H_bb[MAX_ADDED * MAX_ADDED];
    double g_b[MAX_ADDED];
} added_sums;

/* Adds an observation: the added unknowns move its pixel as the sheet's own do, from `component`
 * on.
 */
static bool add_observation(const tr_problem *p, int term, double huber, int component,
                            added_sums *sums) {
    const tr_lsq_term *t = &p->terms[term];
    tr_term source = p->sources[term];
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    int pick[TR_TERM_MAX_WIDTH + MAX_ADDED];
    double r[TR_LSQ_MAX_ROWS];
    double J[TR_LSQ_MAX_ROWS * (TR_TERM_MAX_WIDTH + MAX_ADDED)];
    int n = t->n_columns;
    int width = n + sums->n;
    int n_blocks = tr_term_blocks(p->net, source, blocks);
    int column = tr_block_first_column(blocks, n_blocks, TR_NET_SHEET) + component;
    memcpy(pick, tr_problem_picks(p, term), (size_t)n * sizeof *pick);
    for (int k = 0; k < sums->n; k++) pick[n + k] = column + k;
    if (!tr_term_evaluate(p->net, source, pick, width, r, J)) return false;
    double w = tr_problem_weight(huber, r, t->rows);
    for (int i = 0; i < t->rows; i++) {
        const double *row = J + (long)i * width;
        const double *b = row + n;
        for (int j = 0; j < n; j++) {
            double *to = sums->H_ab + (long)t->columns[j] * sums->n;
            for (int k = 0; k < sums->n; k++) to[k] += w * row[j] * b[k];
        }
        for (int j = 0; j < sums->n; j++) {
            sums->g_b[j] += w * b[j] * r[i];
            for (int k = 0; k < sums->n; k++) sums->H_bb[j * sums->n + k] += w * b[j] * b[k];
        }
    }
    return true;
}

/* With S = H_bb - H_ba H_aa^-1 H_ab: the step -S^-1 g_b, the gain g_b' S^-1 g_b, and the diagonal
   of S^-1. Y: scratch, as H_ab. */
static void judge_hypothesis(const tr_problem *p, const tr_lsq *lsq, const added_sums *sums,
                             double *Y, tr_net_hypothesis *h) {
    int n = sums->n;
    double S[MAX_ADDED * MAX_ADDED];
    double W[MAX_ADDED * MAX_ADDED];
    double scale[MAX_ADDED];
    tr_lsq_reduce(lsq, sums->H_ab, n, Y);
    memcpy(S, sums->H_bb, sizeof S);
    for (int u = 0; u < p->state.n_unknowns; u++) {
        const double *y = Y + (long)u * n;
        for (int j = 0; j < n; j++) {
            for (int k = 0; k < n; k++) S[j * n + k] -= y[j] * y[k];
        }
    }
    for (int j = 0; j < n; j++) {
        if (!(sums->H_bb[j * n + j] > 0)) return;
        scale[j] = 1 / sqrt(sums->H_bb[j * n + j]);
        if (!(S[j * n + j] * scale[j] * scale[j] > NOTHING_LEFT)) return;
    }
    for (int j = 0; j < n; j++) {
        for (int k = 0; k < n; k++) S[j * n + k] *= scale[j] * scale[k];
    }
    if (!tr_dense_inverse_root(S, n, W)) return;
    for (int j = 0; j < n; j++) {
        if (!(1 / (W[j * n + j] * W[j * n + j]) > NOTHING_LEFT)) return;
    }
    /* W'W = (scaled S)^-1, W upper triangular. */
    for (int i = 0; i < n; i++) {
        double v = 0;
        for (int k = i; k < n; k++) v += W[i * n + k] * sums->g_b[k] * scale[k];
        h->score += v * v;
        for (int k = i; k < n; k++) {
            h->step[k] -= W[i * n + k] * v * scale[k];
            h->variance[k] += W[i * n + k] * W[i * n + k] * scale[k] * scale[k];
        }
    }
    h->is_determined = true;
}

/* First terms of each sheet's observations: start has n_sheets + 1 places (and one
   more while they are counted), terms as many as there are observations; both in the order of the
   terms, which is that of the photos. */
static bool terms_by_sheet(const tr_problem *p, int **start, int **terms) {
    int n = p->net->n_sheets;
    *start = tr_array(n + 2, sizeof **start);
    *terms = tr_array(p->n_terms, sizeof **terms);
    if (!*start || !*terms) return false;
    for (int pass = 0; pass < 2; pass++) {
        for (int t = 0; t < p->n_terms; t++) {
            if (p->sources[t].kind != TR_TERM_OBSERVATION) continue;
            int sheet = p->net->observations[p->sources[t].index].sheet;
            if (pass == 0)
                (*start)[sheet + 2]++;
            else
                (*terms)[(*start)[sheet + 1]++] = t;
        }
        for (int i = 0; i < n && pass == 0; i++) (*start)[i + 2] += (*start)[i + 1];
    }
    return true;
}

/* True where the sums of the hypothesis before can be added to: it had the same unknowns in the
   same photos up to the last, but for some before its first. */
static bool goes_on(const tr_net_hypothesis *before, const tr_net_hypothesis *h) {
    return before->sheet == h->sheet && before->component == h->component && before->n == h->n &&
           before->last_photo == h->last_photo && before->first_photo >= h->first_photo;
}

static bool test_hypothesis(const tr_problem *p, const tr_lsq *lsq, double huber, const int *start,
                            const int *terms, const tr_net_hypothesis *before, added_sums *sums,
                            double *Y, tr_net_hypothesis *h) {
    int last = h->last_photo;
    if (before && goes_on(before, h)) {
        last = before->first_photo - 1;
    } else {
        sums->n = h->n;
        memset(sums->H_ab, 0, (size_t)p->state.n_unknowns * (size_t)sums->n * sizeof *sums->H_ab);
        memset(sums->H_bb, 0, sizeof sums->H_bb);
        memset(sums->g_b, 0, sizeof sums->g_b);
    }
    for (int k = start[h->sheet]; k < start[h->sheet + 1]; k++) {
        int photo = p->net->observations[p->sources[terms[k]].index].photo;
        if (photo < h->first_photo || photo > last) continue;
        if (!add_observation(p, terms[k], huber, h->component, sums)) return false;
    }
    h->is_determined = false;
    h->score = 0;
    memset(h->step, 0, sizeof h->step);
    memset(h->variance, 0, sizeof h->variance);
    judge_hypothesis(p, lsq, sums, Y, h);
    return true;
}

bool tr_network_test(tr_network *net, double huber, tr_net_hypothesis *hypotheses, int n,
                     tr_error *err) {
    bool ok = false;
    tr_lsq *lsq = NULL;
    tr_lsq_result result;
    int *start = NULL;
    int *terms = NULL;
    double *scratch = NULL;
    tr_problem p;
    if (!tr_problem_init(&p, net, err)) goto out;
    lsq = tr_lsq_new(&p.lsq, err);
    if (!lsq || !tr_lsq_linearise(lsq, huber, &result, err)) goto out;
    scratch = tr_table(2 * MAX_ADDED, p.state.n_unknowns, sizeof *scratch);
    if (!scratch || !terms_by_sheet(&p, &start, &terms)) {
        tr_fail_memory(err);
        goto out;
    }
    added_sums sums = {.H_ab = scratch};
    double *Y = scratch + (size_t)MAX_ADDED * (size_t)p.state.n_unknowns;
    for (int i = 0; i < n; i++) {
        if (!test_hypothesis(&p, lsq, huber, start, terms, i > 0 ? &hypotheses[i - 1] : NULL, &sums,
                             Y, &hypotheses[i])) {
            tr_fail(err, TR_NO_MEASURE, "a mark lies behind the camera");
            goto out;
        }
    }
    ok = true;
out:
    free(start);
    free(terms);
    free(scratch);
    tr_lsq_free(lsq);
    tr_problem_release(&p);
    return ok;
}
