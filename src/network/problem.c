#include "network/problem.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "base/array.h"

/* ---- what the solver calls ---- */

static bool evaluate(void *context, int term, double *r, double *J) {
    const tr_problem *p = context;
    tr_term_source s = p->sources[term];
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    int pick[TR_TERM_MAX_WIDTH];
    int n = 0;
    if (J) {
        int n_blocks = tr_term_blocks(p->net, s.kind, s.index, blocks);
        n = tr_term_pick_free(p->net, blocks, n_blocks, pick);
    }
    return tr_term_evaluate(p->net, s.kind, s.index, pick, n, r, J);
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

static void add_term(tr_problem *p, tr_term_kind kind, int index) {
    int rows = tr_term_rows(p->net, kind, index);
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    tr_lsq_term *term = &p->terms[p->n_terms];
    int *columns = p->columns + (size_t)p->n_terms * TR_LSQ_MAX_COLUMNS;
    int n = 0;
    if (rows == 0) return;
    assert(tr_term_width(p->net, kind, index) <= TR_TERM_MAX_WIDTH);
    int n_blocks = tr_term_blocks(p->net, kind, index, blocks);
    for (int b = 0; b < n_blocks; b++) {
        int column = p->state.first[blocks[b].kind][blocks[b].index];
        int n_free = column < 0 ? 0 : tr_block_n_free(p->net, blocks[b]);
        for (int k = 0; k < n_free; k++) columns[n++] = column + k;
    }
    *term = (tr_lsq_term){
        .rows = rows, .n_columns = n, .columns = columns, .is_robust = kind == TR_TERM_OBSERVATION};
    p->sources[p->n_terms++] = (tr_term_source){kind, index};
}

bool tr_problem_init(tr_problem *p, tr_network *net, tr_error *err) {
    int most = 0;
    memset(p, 0, sizeof *p);
    p->net = net;
    for (int kind = 0; kind < TR_TERM_N_KINDS; kind++) {
        most += tr_term_count(net, (tr_term_kind)kind);
    }
    p->sources = tr_array(most, sizeof *p->sources);
    p->terms = tr_array(most, sizeof *p->terms);
    p->columns = tr_table(most, TR_LSQ_MAX_COLUMNS, sizeof *p->columns);
    if (!p->sources || !p->terms || !p->columns) return tr_fail_memory(err);
    if (!tr_term_prepare_lenses(net, err) || !tr_block_state_init(&p->state, net, err))
        return false;
    for (int kind = 0; kind < TR_TERM_N_KINDS; kind++) {
        int n = tr_term_count(net, (tr_term_kind)kind);
        for (int i = 0; i < n; i++) add_term(p, (tr_term_kind)kind, i);
    }
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
    memset(p, 0, sizeof *p);
}

double tr_problem_weight(double huber, const double *r, int rows) {
    double rho;
    double sum_squares = 0;
    for (int i = 0; i < rows; i++) sum_squares += r[i] * r[i];
    return tr_lsq_weight(huber, rows, sum_squares, &rho);
}
