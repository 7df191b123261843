#include "network/problem.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"

/* ---- what the solver calls ---- */

static bool evaluate(void *context, int term, double *r, double *J) {
    const tr_problem *p = context;
    return tr_term_evaluate(p->net, p->sources[term], tr_problem_picks(p, term),
                            p->terms[term].n_columns, r, J);
}

static void move(void *context, const double *delta) {
    tr_problem *p = context;
    tr_block_state_move(&p->state, p->net, delta);
}

static void accept(void *context) {
    tr_problem *p = context;
    tr_block_state_accept(&p->state, p->net);
}

static void name(void *context, int unknown, char *out, size_t size) {
    const tr_problem *p = context;
    tr_net_unknown u = p->state.unknowns[unknown];
    tr_block_name(p->net, (tr_block){u.kind, u.index}, u.component, out, size);
}

/* ---- setting up ---- */

/* Takes a source into the problem; it stays out where it has no residuals. */
static void add_term(tr_problem *p, tr_term source) {
    int rows = tr_term_rows(p->net, source);
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    tr_lsq_term *term = &p->terms[p->n_terms];
    size_t first = (size_t)p->n_terms * TR_LSQ_MAX_COLUMNS;
    int *column = p->columns + first;
    if (rows == 0) return;
    assert(tr_term_width(p->net, source) <= TR_TERM_MAX_WIDTH);
    int n_blocks = tr_term_blocks(p->net, source, blocks);
    int n = tr_term_pick_free(p->net, blocks, n_blocks, p->picks + first);
    for (int b = 0; b < n_blocks; b++) {
        int n_free = tr_block_n_free(p->net, blocks[b]);
        int next = p->state.first[blocks[b].kind][blocks[b].index];
        for (int k = 0; k < n_free; k++) *column++ = next++;
    }
    *term = (tr_lsq_term){.rows = rows,
                          .n_columns = n,
                          .columns = p->columns + first,
                          .is_robust = source.kind == TR_TERM_OBSERVATION};
    p->sources[p->n_terms++] = source;
}

bool tr_problem_init(tr_problem *p, tr_network *net, tr_error *err) {
    memset(p, 0, sizeof *p);
    p->net = net;
    int most = tr_term_list(net, NULL);
    p->sources = tr_array(most, sizeof *p->sources);
    p->terms = tr_array(most, sizeof *p->terms);
    p->columns = tr_table(most, TR_LSQ_MAX_COLUMNS, sizeof *p->columns);
    p->picks = tr_table(most, TR_LSQ_MAX_COLUMNS, sizeof *p->picks);
    if (!p->sources || !p->terms || !p->columns || !p->picks) return tr_fail_memory(err);
    if (!tr_block_prepare_all(net, err) || !tr_block_state_init(&p->state, net, err)) return false;
    tr_term_list(net, p->sources);
    for (int i = 0; i < most; i++) add_term(p, p->sources[i]);
    p->lsq = (tr_lsq_problem){.n_unknowns = p->state.n_unknowns,
                              .n_terms = p->n_terms,
                              .terms = p->terms,
                              .context = p,
                              .evaluate = evaluate,
                              .move = move,
                              .accept = accept,
                              .name = name};
    return true;
}

void tr_problem_release(tr_problem *p) {
    tr_block_state_release(&p->state);
    free(p->sources);
    free(p->terms);
    free(p->columns);
    free(p->picks);
    memset(p, 0, sizeof *p);
}

const int *tr_problem_picks(const tr_problem *p, int term) {
    return p->picks + (size_t)term * TR_LSQ_MAX_COLUMNS;
}

double tr_problem_weight(double huber, const double *r, int rows) {
    double rho;
    double sum_squares = 0;
    for (int i = 0; i < rows; i++) sum_squares += r[i] * r[i];
    return tr_lsq_weight(huber, rows, sum_squares, &rho);
}
