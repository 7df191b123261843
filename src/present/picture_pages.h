/* The pages of a check's picture, and the files that they go to. One target has one page. Several
   have an overview first, then a page each, in the order of the layout, which numbers them from 1.
   The photos that see a free area of the layout follow, some to a page.

   A PDF has all of them. PNGs are one a page: the first has the path that was asked for, the others
   its name with what they show behind it: result.png, result-1-MAT-7.png, result-2-BOARD-1.png,
   result-free-area-1.png. */
#ifndef TR_PRESENT_PICTURE_PAGES_H
#define TR_PRESENT_PICTURE_PAGES_H

#include "check/result.h"

typedef enum {
    TR_PAGE_FAILED, /* there is no measurement */
    TR_PAGE_OVERVIEW,
    TR_PAGE_TARGET,
    TR_PAGE_AREAS /* photos with the free areas */
} tr_picture_page_kind;

typedef struct {
    tr_picture_page_kind kind;
    int target; /* of TR_PAGE_TARGET */
    int first;  /* of TR_PAGE_AREAS: its first photo among those that see one */
    char *file; /* owned */
} tr_picture_page;

/* All zero is a valid empty one. */
typedef struct {
    tr_picture_page *items; /* owned */
    int n;
    bool is_pdf; /* all of them are in the one file */
} tr_picture_pages;

/* path ends in .png or .pdf. Without a measurement each page that there would have been says so, so
   that no older one is taken for this check's. *out is to be released in any case. False: memory
   ran out. */
TR_MUST_USE bool tr_picture_pages_of(const tr_check_result *result, const char *path,
                                     tr_picture_pages *out, tr_error *err);
void tr_picture_pages_release(tr_picture_pages *pages);

/* What tells the pages of one check from those of another, in a few letters: they hang on its job,
   its photos and what was measured. */
enum { TR_CHECK_MARK_SIZE = 10 };
void tr_check_mark(const tr_check_result *result, char out[TR_CHECK_MARK_SIZE]);

#endif
