#include "network/terms.h"

#include <string.h>

_Static_assert((int)TR_OBS_MAX_WIDTH <= (int)TR_TERM_MAX_WIDTH, "room for every observation");

/* ---- which there are ---- */

/* Adds n terms that differ in their number. */
static int add_terms(tr_term term, int n, tr_term *terms, int n_terms) {
    for (int i = 0; i < n && terms; i++) {
        terms[n_terms + i] = term;
        terms[n_terms + i].index = i;
    }
    return n_terms + n;
}

int tr_term_list(const tr_network *net, tr_term *terms) {
    int n = add_terms((tr_term){.kind = TR_TERM_OBSERVATION}, net->n_observations, terms, 0);
    for (int kind = 0; kind < TR_NET_N_KINDS; kind++) {
        tr_net_kind of = (tr_net_kind)kind;
        for (const tr_prior *const *prior = tr_block_kind(of)->priors; *prior; prior++) {
            n = add_terms((tr_term){.kind = TR_TERM_PRIOR, .of = of, .prior = *prior},
                          tr_block_count(net, of), terms, n);
        }
    }
    return add_terms((tr_term){.kind = TR_TERM_LENGTH}, net->n_lengths, terms, n);
}

/* ---- each kind ---- */

static tr_block prior_block(tr_term term) {
    return (tr_block){term.of, term.index};
}

int tr_term_rows(const tr_network *net, tr_term term) {
    switch (term.kind) {
    case TR_TERM_OBSERVATION: return tr_observation_rows(&net->observations[term.index]);
    case TR_TERM_LENGTH: return net->lengths[term.index].is_used ? 1 : 0;
    default: return term.prior->rows(net, prior_block(term));
    }
}

static int prior_blocks(const tr_network *net, tr_term term, tr_block *blocks) {
    int other = term.prior->other ? term.prior->other(net, prior_block(term)) : -1;
    blocks[0] = prior_block(term);
    blocks[1] = (tr_block){term.of, other};
    return other < 0 ? 1 : 2;
}

int tr_term_blocks(const tr_network *net, tr_term term, tr_block blocks[TR_TERM_MAX_BLOCKS]) {
    switch (term.kind) {
    case TR_TERM_OBSERVATION:
        return tr_observation_blocks(net, &net->observations[term.index], blocks);
    case TR_TERM_LENGTH: return tr_length_blocks(net, &net->lengths[term.index], blocks);
    default: return prior_blocks(net, term, blocks);
    }
}

/* r and J before whitening by W, J to all unknowns of the blocks, all zero when it is called. */
static bool evaluate(const tr_network *net, tr_term term, double *r, double *J) {
    switch (term.kind) {
    case TR_TERM_OBSERVATION:
        return tr_observation_project(net, &net->observations[term.index], r, J);
    case TR_TERM_LENGTH: return tr_length_evaluate(net, &net->lengths[term.index], r, J);
    default: term.prior->evaluate(net, prior_block(term), r, J); return true;
    }
}

/* NULL: the residuals are whitened. */
static const double *whitening(const tr_network *net, tr_term term) {
    if (term.kind == TR_TERM_OBSERVATION) return net->observations[term.index].W;
    bool has_W = term.kind == TR_TERM_PRIOR && term.prior->W;
    return has_W ? term.prior->W(net, prior_block(term)) : NULL;
}

/* ---- all kinds ---- */

int tr_term_pick_free(const tr_network *net, const tr_block *blocks, int n_blocks,
                      int pick[TR_TERM_MAX_WIDTH]) {
    int n = 0;
    int column = 0;
    for (int b = 0; b < n_blocks; b++) {
        for (int k = 0; k < tr_block_size(blocks[b].kind); k++, column++) {
            if (tr_block_is_free(net, blocks[b], k)) pick[n++] = column;
        }
    }
    return n;
}

int tr_term_width(const tr_network *net, tr_term term) {
    tr_block blocks[TR_TERM_MAX_BLOCKS];
    int n = tr_term_blocks(net, term, blocks);
    int width = 0;
    for (int b = 0; b < n; b++) width += tr_block_size(blocks[b].kind);
    return width;
}

bool tr_term_evaluate(const tr_network *net, tr_term term, const int *pick, int n_pick, double *r,
                      double *J) {
    double raw_r[TR_LSQ_MAX_ROWS];
    double raw_J[TR_LSQ_MAX_ROWS * TR_TERM_MAX_WIDTH];
    int rows = tr_term_rows(net, term);
    int width = tr_term_width(net, term);
    const double *W = whitening(net, term);
    if (J) memset(raw_J, 0, (size_t)(rows * width) * sizeof *raw_J);
    if (!evaluate(net, term, raw_r, J ? raw_J : NULL)) return false;
    /* W is upper triangular. */
    for (int i = 0; i < rows; i++) {
        double *row = J + (long)i * n_pick;
        r[i] = W ? 0 : raw_r[i];
        for (int j = 0; j < n_pick && J; j++) row[j] = W ? 0 : raw_J[i * width + pick[j]];
        for (int k = i; k < rows && W; k++) {
            double w = W[(long)i * rows + k];
            const double *raw = raw_J + (long)k * width;
            if (w == 0.0) continue;
            r[i] += w * raw_r[k];
            for (int j = 0; j < n_pick && J; j++) row[j] += w * raw[pick[j]];
        }
    }
    return true;
}
