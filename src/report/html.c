/* The report as one HTML file (living standard; well-formed as XML, too), which needs no other: the
   style stands in it, drawings are SVG, photos JPEG, both as data URIs (RFC 2397). */
#include <nettle/base64.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "report/content.h"
#include "report/figure.h"

typedef struct {
    FILE *out;
    const tr_report *report;
    tr_error *err;
    bool ok;
} writer;

/* No rule hides anything on paper; word and shape tell a verdict where colours are lost. */
static const char STYLE[] =
    "html{color:#1a1a1a;background:#fff;font:16px/1.4 'DejaVu Sans',Verdana,sans-serif}\n"
    "body{max-width:60rem;margin:1.5rem auto;padding:0 1rem}\n"
    "h1{display:flex;align-items:center;gap:.6rem;font-size:3rem;line-height:1.1;margin:0}\n"
    "h1 svg{width:3.6rem;height:3.6rem;flex:none}\n"
    "h2{font-size:1.15rem;border-bottom:2px solid #1a1a1a;margin:1.6rem 0 .5rem}\n"
    "header p{margin:.2rem 0}\n"
    ".strong{font-weight:bold;font-size:1.1rem}\n"
    ".small{font-size:.85rem}\n"
    ".warning::before{content:'! ';font-weight:bold}\n"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:.6rem 0}\n"
    "dt{font-size:.85rem}dd{margin:0;font-weight:bold;overflow-wrap:anywhere}\n"
    "table{border-collapse:collapse;margin:.4rem 0;font-size:.9rem}\n"
    "th,td{padding:.25rem .7rem;text-align:left;vertical-align:top;border-top:1px solid #9e9e9e;"
    "overflow-wrap:anywhere}\n"
    "thead th{border-top:0;border-bottom:1px solid #1a1a1a;font-weight:normal}\n"
    "tbody th{font-weight:normal}\n"
    "th.n,td.n{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}\n"
    "td.strong{font-size:inherit}\n"
    "code{font-size:.8rem;overflow-wrap:anywhere}\n"
    ".v{font-weight:bold;white-space:nowrap}\n"
    ".v svg{width:1em;height:1em;vertical-align:-.12em;margin-right:.3em}\n"
    ".pass{color:#0072b2}.fail{color:#d55e00}.inconclusive{color:#5f5f5f}\n"
    ".figures{display:grid;grid-template-columns:55fr 45fr;gap:0 1rem;align-items:start}\n"
    ".one{grid-template-columns:1fr}.three figure:nth-child(3){grid-column:2;grid-row:1/span 2}\n"
    "figure{margin:.4rem 0}figure img{max-width:100%;height:auto;display:block}\n"
    "figcaption{font-size:.85rem}.one img{margin:0 auto}.one figcaption{text-align:center}\n"
    ".sign{display:flex;gap:2rem;margin:4rem 0 1rem}\n"
    ".sign span{flex:1;border-top:1px solid #1a1a1a;font-size:.85rem}\n"
    "footer{border-top:1px solid #9e9e9e;margin-top:1rem;font-size:.8rem;overflow-wrap:anywhere}\n"
    "@media (max-width:40rem){.figures{display:block}h1{font-size:2rem}}\n"
    "@media print{html{font-size:10.5pt;-webkit-print-color-adjust:exact;"
    "print-color-adjust:exact}body{max-width:none;margin:0;padding:0}"
    "h2{break-after:avoid}tr,figure,.sign{break-inside:avoid}thead{display:table-header-group}}\n";

/* ---- Text ---- */

/* Bytes that are no UTF-8, or that no text has, are shown as '?'. */
static void put_text(writer *w, const char *text) {
    char shown[4096];
    tr_text_show(text, strlen(text), shown, sizeof shown);
    for (const char *c = shown; *c; c++) {
        switch (*c) {
        case '&': fputs("&amp;", w->out); break;
        case '<': fputs("&lt;", w->out); break;
        case '>': fputs("&gt;", w->out); break;
        case '"': fputs("&quot;", w->out); break;
        case '\'': fputs("&#39;", w->out); break;
        default: fputc(*c, w->out);
        }
    }
}

/* JSON within a script ends at the first "</script", and begins another with "<!--": in texts,
   where alone these characters stand, JSON can write them otherwise (RFC 8259, 7). */
static void put_json(writer *w, const char *json, size_t size) {
    fputs("<script type=\"application/json\" id=\"result\">\n", w->out);
    for (size_t i = 0; i < size; i++) {
        switch (json[i]) {
        case '<': fputs("\\u003c", w->out); break;
        case '>': fputs("\\u003e", w->out); break;
        case '&': fputs("\\u0026", w->out); break;
        default: fputc(json[i], w->out);
        }
    }
    fputs("</script>\n", w->out);
}

/* The shapes of tr_canvas_badge. */
static void put_badge(writer *w, tr_verdict verdict) {
    fputs("<svg viewBox=\"-10 -10 20 20\" aria-hidden=\"true\">", w->out);
    switch (verdict) {
    case TR_PASS:
        fputs("<circle r=\"10\" fill=\"currentColor\"/><path d=\"M-4.5 .2 -1.2 3.8 4.8 -3.6\"",
              w->out);
        break;
    case TR_FAIL:
        fputs(
            "<path d=\"M9.24 3.83 3.83 9.24-3.83 9.24-9.24 3.83-9.24-3.83-3.83-9.24 3.83-9.24 9.24"
            "-3.83z\" fill=\"currentColor\"/><path d=\"M-3.8-3.8 3.8 3.8M-3.8 3.8 3.8-3.8\"",
            w->out);
        break;
    case TR_INCONCLUSIVE:
        fputs(
            "<path d=\"M0-9.5 9.96 7.75-9.96 7.75z\" fill=\"currentColor\"/><path d=\"M-2.2 0a2.2 "
            "2.2 0 1 1 3.2 2c-.8.4-1 .9-1 1.6M0 5.8v.2\"",
            w->out);
        break;
    }
    fputs(" fill=\"none\" stroke=\"#fff\" stroke-width=\"2\" stroke-linecap=\"round\"/></svg>",
          w->out);
}

/* ---- Drawings ---- */

static void put_base64(writer *w, const uint8_t *data, size_t size) {
    enum { STEP = 3 * 1024 };
    char text[BASE64_ENCODE_RAW_LENGTH(STEP)];
    for (size_t i = 0; i < size; i += STEP) {
        size_t n = size - i < STEP ? size - i : STEP;
        base64_encode_raw(text, n, data + i);
        fwrite(text, 1, BASE64_ENCODE_RAW_LENGTH(n), w->out);
    }
}

/* Cairo numbers the surfaces of a program; the same drawing shall have the same bytes. */
static void take_number_away(uint8_t *svg, size_t *size) {
    static const char BEFORE[] = "<g id=\"surface";
    size_t n = 0;
    for (size_t i = 0; i < *size; i++) {
        bool is_after =
            n >= strlen(BEFORE) && memcmp(svg + n - strlen(BEFORE), BEFORE, strlen(BEFORE)) == 0;
        if (is_after && svg[i] >= '0' && svg[i] <= '9') continue;
        svg[n++] = svg[i];
    }
    *size = n;
}

static const double BLOCK_PX = 1286; /* the width that figures are made for, as on paper */

static bool draw(writer *w, const tr_doc_figure *f, int width, int height, uint8_t **data,
                 size_t *size) {
    enum { QUALITY = 88 };
    tr_canvas canvas = {0};
    bool is_photo = tr_figure_has_photo(f);
    *data = NULL;
    bool ok = (is_photo ? tr_canvas_init(&canvas, width, height, w->err)
                        : tr_canvas_init_svg(&canvas, width, height, w->err)) &&
              tr_figure_draw(&canvas, (tr_box){0, 0, width, height}, w->report, f, w->err);
    if (ok && is_photo) ok = tr_canvas_take_jpeg(&canvas, "report", QUALITY, data, size, w->err);
    if (ok && !is_photo) {
        ok = tr_canvas_take(&canvas, "report", data, size, w->err);
        if (ok) take_number_away(*data, size);
    }
    tr_canvas_release(&canvas);
    return ok;
}

static void put_figure(writer *w, const tr_doc_figure *f) {
    int width = (int)(f->box.width * BLOCK_PX);
    int height = (int)f->box.height;
    uint8_t *data;
    size_t size = 0;
    if (!w->ok) return;
    w->ok = draw(w, f, width, height, &data, &size);
    if (!w->ok) return;
    fprintf(w->out, "<figure><img width=\"%d\" height=\"%d\" alt=\"", width, height);
    put_text(w, f->alternative);
    fprintf(w->out, "\" src=\"data:%s;base64,",
            tr_figure_has_photo(f) ? "image/jpeg" : "image/svg+xml");
    put_base64(w, data, size);
    fputs("\"/>", w->out);
    free(data);
    if (*f->caption) {
        fputs("<figcaption>", w->out);
        put_text(w, f->caption);
        fputs("</figcaption>", w->out);
    }
    fputs("</figure>\n", w->out);
}

/* ---- Tables ---- */

static void put_cell(writer *w, const tr_doc_block *block, const tr_doc_cell *cell, int column,
                     bool is_head) {
    bool is_title = is_head || column == 0;
    const char *tag = is_title ? "th" : "td";
    fprintf(w->out, "<%s", tag);
    if (is_title) fprintf(w->out, " scope=\"%s\"", is_head ? "col" : "row");
    if (!block->is_text[column] || cell->is_strong) {
        fprintf(w->out, " class=\"%s%s\"", block->is_text[column] ? "" : "n",
                cell->is_strong ? " strong" : "");
    }
    fputc('>', w->out);
    if (cell->has_verdict) {
        fprintf(w->out, "<span class=\"v %s\">", tr_verdict_name(cell->verdict));
        put_badge(w, cell->verdict);
        put_text(w, cell->text);
        fputs("</span>", w->out);
    } else if (cell->is_hash) {
        fputs("<code>", w->out);
        put_text(w, cell->text);
        fputs("</code>", w->out);
    } else {
        put_text(w, cell->text);
    }
    fprintf(w->out, "</%s>", tag);
}

static void put_table(writer *w, const tr_doc_block *block) {
    int n = block->n_columns;
    fputs("<table>\n<thead>", w->out);
    for (int i = 0; i < block->n_cells; i++) {
        if (i % n == 0) fputs("<tr>", w->out);
        put_cell(w, block, &block->cells[i], i % n, i < n);
        if (i % n == n - 1) fputs(i == n - 1 ? "</tr></thead>\n<tbody>\n" : "</tr>\n", w->out);
    }
    fputs("</tbody></table>\n", w->out);
}

/* ---- Blocks ---- */

static void put_verdict(writer *w, const tr_doc_block *block) {
    char title[320];
    tr_report_full_title(w->report, title, sizeof title);
    fprintf(w->out, "<header>\n<h1 class=\"%s\">", tr_verdict_name(block->verdict));
    put_badge(w, block->verdict);
    put_text(w, block->text);
    fputs("</h1>\n<p class=\"strong\">", w->out);
    put_text(w, title);
    fputs("</p>\n</header>\n", w->out);
}

static void put_tagged(writer *w, const char *before, const char *text, const char *after) {
    fputs(before, w->out);
    put_text(w, text);
    fputs(after, w->out);
}

static void put_paragraph(writer *w, const tr_doc_block *block) {
    static const char *const CLASSES[] = {"", "strong", "small", "warning"};
    if (block->style == TR_DOC_PLAIN)
        fputs("<p>", w->out);
    else
        fprintf(w->out, "<p class=\"%s\">", CLASSES[block->style]);
    put_tagged(w, "", block->text, "</p>\n");
}

static void put_block(writer *w, const tr_doc_block *block) {
    switch (block->kind) {
    case TR_DOC_VERDICT: put_verdict(w, block); break;
    case TR_DOC_HEADING: put_tagged(w, "<h2>", block->text, "</h2>\n"); break;
    case TR_DOC_TEXT: put_paragraph(w, block); break;
    case TR_DOC_TERMS:
        fputs("<dl>\n", w->out);
        for (int i = 0; i + 1 < block->n_cells; i += 2) {
            put_tagged(w, "<dt>", block->cells[i].text, "</dt>");
            put_tagged(w, "<dd>", block->cells[i + 1].text, "</dd>\n");
        }
        fputs("</dl>\n", w->out);
        break;
    case TR_DOC_TABLE: put_table(w, block); break;
    case TR_DOC_FIGURES:
        fprintf(w->out, "<div class=\"figures %s\">\n",
                block->n_figures == 1   ? "one"
                : block->n_figures == 2 ? "two"
                                        : "three");
        for (int i = 0; i < block->n_figures; i++) put_figure(w, &block->figures[i]);
        fputs("</div>\n", w->out);
        break;
    case TR_DOC_SIGNATURE:
        fputs("<div class=\"sign\">", w->out);
        for (int i = 0; i < block->n_cells; i++)
            put_tagged(w, "<span>", block->cells[i].text, "</span>");
        fputs("</div>\n", w->out);
        break;
    }
}

static void put_page(writer *w, const tr_document *doc) {
    char text[320];
    fputs("<!DOCTYPE html>\n<html lang=\"", w->out);
    put_text(w, w->report->language ? w->report->language : "en");
    fputs("\">\n<head>\n<meta charset=\"utf-8\"/>\n"
          "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n",
          w->out);
    tr_report_full_title(w->report, text, sizeof text);
    put_tagged(w, "<title>", text, "</title>\n");
    fprintf(w->out, "<style>\n%s@page{size:%s;margin:14mm}\n</style>\n</head>\n<body>\n", STYLE,
            w->report->paper == TR_PAPER_LETTER ? "letter" : "A4");
    for (int i = 0; i < doc->n && w->ok; i++) put_block(w, &doc->blocks[i]);
    tr_report_foot(w->report, text, sizeof text);
    put_tagged(w, "<footer>", text, "</footer>\n");
    if (w->report->json) put_json(w, w->report->json, w->report->json_size);
    fputs("</body>\n</html>\n", w->out);
}

bool tr_report_html(const tr_report *report, uint8_t **data, size_t *size, tr_error *err) {
    tr_document doc = {0};
    char *bytes = NULL;
    size_t n = 0;
    *data = NULL;
    *size = 0;
    tr_report_content(report, &doc);
    writer w = {.out = open_memstream(&bytes, &n), .report = report, .err = err};
    w.ok = (!doc.is_full && w.out) || tr_fail_memory(err);
    if (w.ok) put_page(&w, &doc);
    bool is_written = w.out && !ferror(w.out);
    if (w.out && fclose(w.out) != 0) is_written = false;
    tr_document_release(&doc);
    if (w.ok && !is_written) w.ok = tr_fail_memory(err);
    if (!w.ok) {
        free(bytes);
        return false;
    }
    *data = (uint8_t *)bytes;
    *size = n;
    return true;
}
