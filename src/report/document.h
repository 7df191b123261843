/* What a report says, as blocks from top to bottom, before it is laid out: both the PDF and the
   HTML are made of it, and so say the same. Private to report.

   Blocks are added to the end; what memory ran out for is missing, and is_full tells so once, so
   that no call has to be asked. All texts are copied: UTF-8, whatever they came from. */
#ifndef TR_REPORT_DOCUMENT_H
#define TR_REPORT_DOCUMENT_H

#include "present/canvas.h"
#include "verdict/verdict.h"

typedef enum {
    TR_DOC_VERDICT, /* the verdict, large */
    TR_DOC_HEADING,
    TR_DOC_TEXT,  /* a paragraph */
    TR_DOC_TERMS, /* what something is called, and what it is */
    TR_DOC_TABLE,
    TR_DOC_FIGURES,   /* drawings side by side */
    TR_DOC_SIGNATURE, /* lines to sign on */
} tr_doc_kind;

typedef enum { TR_DOC_PLAIN, TR_DOC_STRONG, TR_DOC_SMALL, TR_DOC_WARNING } tr_doc_style;

/* A cell of a table: a text, or a verdict with its shape. */
typedef struct {
    char *text;
    bool has_verdict, is_strong;
    bool is_hash; /* SHA-256: paper shows how it begins */
    tr_verdict verdict;
} tr_doc_cell;

typedef enum {
    TR_FIGURE_PHOTO,  /* the target in the photo that shows it best */
    TR_FIGURE_DETAIL, /* the target near by */
    TR_FIGURE_PLAN,   /* the vehicle from above, with the target's dimensions */
    TR_FIGURE_ALL,    /* the same with all targets */
    TR_FIGURE_AREA,   /* a photo with the free areas */
} tr_figure_kind;

typedef struct {
    tr_figure_kind kind;
    int target, photo;
    tr_box box; /* in the block: x and width in parts of its width, y and height in px */
    char *caption, *alternative;
} tr_doc_figure;

enum { TR_DOC_MAX_COLUMNS = 10, TR_DOC_MAX_FIGURES = 4 };

typedef struct {
    tr_doc_kind kind;
    int level; /* of a heading: 2 or 3 */
    tr_doc_style style;
    char *text;
    tr_verdict verdict;
    /* Of a table or of terms, row by row; a table's first row is its head. */
    tr_doc_cell *cells;
    int n_cells, capacity, n_columns;
    bool is_text[TR_DOC_MAX_COLUMNS]; /* the column is set to the left, and may be broken */
    bool is_folded; /* on paper, where it is narrow, two rows stand side by side */
    tr_doc_figure figures[TR_DOC_MAX_FIGURES];
    int n_figures;
} tr_doc_block;

/* All zero is a valid empty one. */
typedef struct {
    tr_doc_block *blocks;
    int n, capacity;
    bool is_full; /* memory ran out */
} tr_document;

void tr_document_release(tr_document *doc);

void tr_doc_verdict(tr_document *doc, tr_verdict verdict, const char *word);
void tr_doc_heading(tr_document *doc, int level, const char *text);
void tr_doc_text(tr_document *doc, tr_doc_style style, const char *text);

void tr_doc_terms(tr_document *doc);
/* Nothing of a term whose text is "". */
void tr_doc_term(tr_document *doc, const char *term, const char *text);

/* columns: a letter each, 't' for texts, 'n' for numbers. */
void tr_doc_table(tr_document *doc, const char *columns);
/* The last block, a table, may be set in two on paper. */
void tr_doc_fold(tr_document *doc);
/* To the last block, a table: its head first, then row by row. */
void tr_doc_head(tr_document *doc, const char *const *titles, int n);
void tr_doc_cell_text(tr_document *doc, const char *text);
void tr_doc_cell_strong(tr_document *doc, const char *text);
void tr_doc_cell_hash(tr_document *doc, const char *hash);
void tr_doc_cell_verdict(tr_document *doc, tr_verdict verdict);

void tr_doc_figures(tr_document *doc);
/* box, caption and alternative, which says in words what is drawn: see tr_doc_figure. */
void tr_doc_figure_add(tr_document *doc, tr_figure_kind kind, int target, int photo, tr_box box,
                       const char *caption, const char *alternative);

void tr_doc_signature(tr_document *doc, const char *const *titles, int n);

#endif
