#include "report/attach.h"

#include <qpdf/qpdf-c.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- The attached file: ISO 32000-1:2008, 7.11.3 and 7.11.4; associated with the document as in
   ISO 32000-2:2020, 14.13 ---- */

/* "D:20260131093000Z" of "2026-01-31T09:30:00Z"; false: it is no such date. */
static bool pdf_date(const char *made_at, char out[32]) {
    static const char PATTERN[] = "0000-00-00T00:00:00Z";
    size_t n = 2;
    memcpy(out, "D:", 2);
    for (size_t i = 0; i + 1 < sizeof PATTERN; i++) {
        bool is_digit = made_at[i] >= '0' && made_at[i] <= '9';
        if (PATTERN[i] == '0' ? !is_digit : made_at[i] != PATTERN[i]) return false;
        if (is_digit) out[n++] = made_at[i];
    }
    out[n++] = 'Z';
    out[n] = 0;
    return made_at[sizeof PATTERN - 1] == 0;
}

static qpdf_oh embedded_file(qpdf_data pdf, const tr_pdf_extras *extras) {
    char date[32];
    qpdf_oh stream = qpdf_oh_new_stream(pdf);
    qpdf_oh_replace_stream_data(pdf, stream, (const unsigned char *)extras->attachment,
                                extras->size, qpdf_oh_new_null(pdf), qpdf_oh_new_null(pdf));
    qpdf_oh dict = qpdf_oh_get_dict(pdf, stream);
    qpdf_oh_replace_key(pdf, dict, "/Type", qpdf_oh_new_name(pdf, "/EmbeddedFile"));
    qpdf_oh_replace_key(pdf, dict, "/Subtype", qpdf_oh_new_name(pdf, "/application/json"));
    qpdf_oh params = qpdf_oh_new_dictionary(pdf);
    qpdf_oh_replace_key(pdf, params, "/Size", qpdf_oh_new_integer(pdf, (long long)extras->size));
    if (pdf_date(extras->made_at, date))
        qpdf_oh_replace_key(pdf, params, "/ModDate", qpdf_oh_new_string(pdf, date));
    qpdf_oh_replace_key(pdf, dict, "/Params", params);
    return stream;
}

static void attach(qpdf_data pdf, const tr_pdf_extras *extras) {
    qpdf_oh root = qpdf_get_root(pdf);
    qpdf_oh name = qpdf_oh_new_unicode_string(pdf, extras->name);
    qpdf_oh stream = embedded_file(pdf, extras);
    qpdf_oh files = qpdf_oh_new_dictionary(pdf);
    qpdf_oh_replace_key(pdf, files, "/F", stream);
    qpdf_oh_replace_key(pdf, files, "/UF", stream);
    qpdf_oh spec = qpdf_oh_new_dictionary(pdf);
    qpdf_oh_replace_key(pdf, spec, "/Type", qpdf_oh_new_name(pdf, "/Filespec"));
    qpdf_oh_replace_key(pdf, spec, "/F", name);
    qpdf_oh_replace_key(pdf, spec, "/UF", name);
    qpdf_oh_replace_key(pdf, spec, "/Desc", qpdf_oh_new_unicode_string(pdf, extras->description));
    qpdf_oh_replace_key(pdf, spec, "/AFRelationship", qpdf_oh_new_name(pdf, "/Data"));
    qpdf_oh_replace_key(pdf, spec, "/EF", files);
    qpdf_oh reference = qpdf_make_indirect_object(pdf, spec);

    qpdf_oh tree = qpdf_oh_new_dictionary(pdf);
    qpdf_oh names = qpdf_oh_new_array(pdf);
    qpdf_oh_append_item(pdf, names, name);
    qpdf_oh_append_item(pdf, names, reference);
    qpdf_oh_replace_key(pdf, tree, "/Names", names);
    qpdf_oh all = qpdf_oh_get_key(pdf, root, "/Names");
    if (!qpdf_oh_is_dictionary(pdf, all)) {
        all = qpdf_oh_new_dictionary(pdf);
        qpdf_oh_replace_key(pdf, root, "/Names", all);
    }
    qpdf_oh_replace_key(pdf, all, "/EmbeddedFiles", tree);
    qpdf_oh associated = qpdf_oh_new_array(pdf);
    qpdf_oh_append_item(pdf, associated, reference);
    qpdf_oh_replace_key(pdf, root, "/AF", associated);
}

/* ---- Words for the drawings: ISO 32000-1:2008, 14.9.3 ---- */

/* The elements "Figure" below one, depth first, get the next text each. */
static void describe_figures(qpdf_data pdf, qpdf_oh element, const tr_pdf_extras *extras, int *next,
                             int depth) {
    enum { DEEPEST = 32 };
    if (depth > DEEPEST) return;
    if (qpdf_oh_is_array(pdf, element)) {
        int n = qpdf_oh_get_array_n_items(pdf, element);
        for (int i = 0; i < n; i++) {
            describe_figures(pdf, qpdf_oh_get_array_item(pdf, element, i), extras, next, depth + 1);
        }
    } else if (qpdf_oh_is_dictionary(pdf, element)) {
        if (qpdf_oh_is_name_and_equals(pdf, qpdf_oh_get_key(pdf, element, "/S"), "/Figure") &&
            *next < extras->n_alternatives) {
            qpdf_oh_replace_key(pdf, element, "/Alt",
                                qpdf_oh_new_unicode_string(pdf, extras->alternatives[(*next)++]));
        }
        if (qpdf_oh_has_key(pdf, element, "/K"))
            describe_figures(pdf, qpdf_oh_get_key(pdf, element, "/K"), extras, next, depth + 1);
    }
}

/* Cairo hangs all elements on the root, which is to have one child, the document (ISO 32000-1:2008,
   14.8.4.2). */
static void put_under_document(qpdf_data pdf, qpdf_oh tree) {
    qpdf_oh elements = qpdf_oh_get_key(pdf, tree, "/K");
    qpdf_oh dict = qpdf_oh_new_dictionary(pdf);
    qpdf_oh_replace_key(pdf, dict, "/Type", qpdf_oh_new_name(pdf, "/StructElem"));
    qpdf_oh_replace_key(pdf, dict, "/S", qpdf_oh_new_name(pdf, "/Document"));
    qpdf_oh_replace_key(pdf, dict, "/P", tree);
    qpdf_oh document = qpdf_make_indirect_object(pdf, dict);
    int n = qpdf_oh_is_array(pdf, elements) ? qpdf_oh_get_array_n_items(pdf, elements) : 0;
    for (int i = 0; i < n; i++) {
        qpdf_oh_replace_key(pdf, qpdf_oh_get_array_item(pdf, elements, i), "/P", document);
    }
    qpdf_oh_replace_key(pdf, document, "/K", elements);
    qpdf_oh_replace_key(pdf, tree, "/K", qpdf_oh_wrap_in_array(pdf, document));
}

static void add_all(qpdf_data pdf, const tr_pdf_extras *extras) {
    qpdf_oh root = qpdf_get_root(pdf);
    int next = 0;
    qpdf_oh_replace_key(pdf, root, "/Lang", qpdf_oh_new_unicode_string(pdf, extras->language));
    if (qpdf_oh_has_key(pdf, root, "/StructTreeRoot")) {
        qpdf_oh mark = qpdf_oh_new_dictionary(pdf);
        qpdf_oh_replace_key(pdf, mark, "/Marked", qpdf_oh_new_bool(pdf, QPDF_TRUE));
        qpdf_oh_replace_key(pdf, root, "/MarkInfo", mark);
        qpdf_oh tree = qpdf_oh_get_key(pdf, root, "/StructTreeRoot");
        describe_figures(pdf, tree, extras, &next, 0);
        put_under_document(pdf, tree);
    }
    if (extras->attachment) attach(pdf, extras);
}

/* Whether all went well; the library keeps the first error. */
static bool is_sound(qpdf_data pdf, tr_error *err) {
    if (!qpdf_has_error(pdf)) return true;
    return tr_fail(err, TR_NO_FILE, "the PDF could not be finished: %.200s",
                   qpdf_get_error_full_text(pdf, qpdf_get_error(pdf)));
}

static bool write_all(qpdf_data pdf, uint8_t **data, size_t *size, tr_error *err) {
    (void)qpdf_init_write_memory(pdf);
    qpdf_set_deterministic_ID(pdf, QPDF_TRUE);
    qpdf_set_object_stream_mode(pdf, qpdf_o_disable);
    (void)qpdf_write(pdf);
    if (!is_sound(pdf, err)) return false;
    size_t n = qpdf_get_buffer_length(pdf);
    uint8_t *copied = malloc(n + 1);
    if (!copied) return tr_fail_memory(err);
    memcpy(copied, qpdf_get_buffer(pdf), n);
    free(*data);
    *data = copied;
    *size = n;
    return true;
}

bool tr_pdf_add(uint8_t **data, size_t *size, const tr_pdf_extras *extras, tr_error *err) {
    qpdf_data pdf = qpdf_init();
    if (!pdf) return tr_fail_memory(err);
    qpdf_silence_errors(pdf);
    qpdf_set_suppress_warnings(pdf, QPDF_TRUE);
    (void)qpdf_read_memory(pdf, "report", (const char *)*data, *size, NULL);
    bool ok = is_sound(pdf, err);
    if (ok) add_all(pdf, extras);
    ok = ok && is_sound(pdf, err) && write_all(pdf, data, size, err);
    qpdf_cleanup(&pdf);
    return ok;
}
