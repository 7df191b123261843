/* The language of what people read. Texts stand in the sources in English and are their own keys in
   the catalogue of another language (GNU gettext, domain "trammel"): TR_("...") where a text is
   used, TR_N("...") around one in a table, which is looked up by tr_translated where it is shown.
   Only what people read is translated: codes, keys, files and JSON stay as they are. */
#ifndef TR_BASE_LANGUAGE_H
#define TR_BASE_LANGUAGE_H

/* The text in the language of the process; the text itself where the catalogue has none. Borrowed,
   for good. */
const char *tr_translated(const char *english) __attribute__((format_arg(1)));

#define TR_(english) tr_translated(english)
#define TR_N(english) english

#endif
