#include "report/document.h"

#include <stdlib.h>
#include <string.h>

#include "present/words.h"

static char *copy(tr_document *doc, const char *text) {
    char *copied = strdup(text);
    if (!copied) doc->is_full = true;
    return copied;
}

/* NULL: memory ran out, now or before. */
static tr_doc_block *add_block(tr_document *doc, tr_doc_kind kind) {
    if (doc->is_full) return NULL;
    if (doc->n == doc->capacity) {
        int capacity = doc->capacity ? 2 * doc->capacity : 32;
        tr_doc_block *grown = realloc(doc->blocks, (size_t)capacity * sizeof *grown);
        if (!grown) {
            doc->is_full = true;
            return NULL;
        }
        doc->blocks = grown;
        doc->capacity = capacity;
    }
    tr_doc_block *block = &doc->blocks[doc->n++];
    memset(block, 0, sizeof *block);
    block->kind = kind;
    return block;
}

static tr_doc_cell *add_cell(tr_document *doc) {
    tr_doc_block *block = doc->n > 0 ? &doc->blocks[doc->n - 1] : NULL;
    if (doc->is_full || !block) return NULL;
    if (block->n_cells == block->capacity) {
        int capacity = block->capacity ? 2 * block->capacity : 64;
        tr_doc_cell *grown = realloc(block->cells, (size_t)capacity * sizeof *grown);
        if (!grown) {
            doc->is_full = true;
            return NULL;
        }
        block->cells = grown;
        block->capacity = capacity;
    }
    tr_doc_cell *cell = &block->cells[block->n_cells++];
    memset(cell, 0, sizeof *cell);
    return cell;
}

void tr_document_release(tr_document *doc) {
    for (int i = 0; i < doc->n; i++) {
        tr_doc_block *block = &doc->blocks[i];
        for (int k = 0; k < block->n_cells; k++) free(block->cells[k].text);
        for (int k = 0; k < block->n_figures; k++) {
            free(block->figures[k].caption);
            free(block->figures[k].alternative);
        }
        free(block->cells);
        free(block->text);
    }
    free(doc->blocks);
    memset(doc, 0, sizeof *doc);
}

void tr_doc_verdict(tr_document *doc, tr_verdict verdict, const char *word) {
    tr_doc_block *block = add_block(doc, TR_DOC_VERDICT);
    if (!block) return;
    block->verdict = verdict;
    block->text = copy(doc, word);
}

void tr_doc_heading(tr_document *doc, int level, const char *text) {
    tr_doc_block *block = add_block(doc, TR_DOC_HEADING);
    if (!block) return;
    block->level = level;
    block->text = copy(doc, text);
}

void tr_doc_text(tr_document *doc, tr_doc_style style, const char *text) {
    tr_doc_block *block = add_block(doc, TR_DOC_TEXT);
    if (!block) return;
    block->style = style;
    block->text = copy(doc, text);
}

void tr_doc_terms(tr_document *doc) {
    tr_doc_block *block = add_block(doc, TR_DOC_TERMS);
    if (block) block->n_columns = 2;
}

void tr_doc_term(tr_document *doc, const char *term, const char *text) {
    if (!*text) return;
    tr_doc_cell_text(doc, term);
    tr_doc_cell_text(doc, text);
}

void tr_doc_table(tr_document *doc, const char *columns) {
    tr_doc_block *block = add_block(doc, TR_DOC_TABLE);
    if (!block) return;
    for (int i = 0; columns[i] && i < TR_DOC_MAX_COLUMNS; i++) {
        block->is_text[i] = columns[i] == 't';
        block->n_columns = i + 1;
    }
}

void tr_doc_fold(tr_document *doc) {
    if (!doc->is_full) doc->blocks[doc->n - 1].is_folded = true;
}

void tr_doc_cell_text(tr_document *doc, const char *text) {
    tr_doc_cell *cell = add_cell(doc);
    if (cell) cell->text = copy(doc, text);
}

void tr_doc_cell_strong(tr_document *doc, const char *text) {
    tr_doc_cell *cell = add_cell(doc);
    if (!cell) return;
    cell->text = copy(doc, text);
    cell->is_strong = true;
}

void tr_doc_cell_hash(tr_document *doc, const char *hash) {
    tr_doc_cell *cell = add_cell(doc);
    if (!cell) return;
    cell->text = copy(doc, *hash ? hash : "–");
    cell->is_hash = *hash;
}

void tr_doc_cell_verdict(tr_document *doc, tr_verdict verdict) {
    tr_doc_cell *cell = add_cell(doc);
    if (!cell) return;
    cell->has_verdict = true;
    cell->verdict = verdict;
    cell->text = copy(doc, tr_verdict_word(verdict));
}

void tr_doc_head(tr_document *doc, const char *const *titles, int n) {
    for (int i = 0; i < n; i++) tr_doc_cell_text(doc, titles[i]);
}

void tr_doc_figures(tr_document *doc) {
    add_block(doc, TR_DOC_FIGURES);
}

void tr_doc_figure_add(tr_document *doc, tr_figure_kind kind, int target, int photo, tr_box box,
                       const char *caption, const char *alternative) {
    tr_doc_block *block = doc->n > 0 ? &doc->blocks[doc->n - 1] : NULL;
    if (doc->is_full || !block || block->n_figures == TR_DOC_MAX_FIGURES) return;
    tr_doc_figure *figure = &block->figures[block->n_figures++];
    *figure = (tr_doc_figure){.kind = kind, .target = target, .photo = photo, .box = box};
    figure->caption = copy(doc, caption);
    figure->alternative = copy(doc, alternative);
}

void tr_doc_signature(tr_document *doc, const char *const *titles, int n) {
    tr_doc_block *block = add_block(doc, TR_DOC_SIGNATURE);
    if (!block) return;
    block->n_columns = n;
    for (int i = 0; i < n; i++) tr_doc_cell_text(doc, titles[i]);
}
