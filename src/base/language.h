/* The language of what people read. Texts stand in the sources in English and are their own keys in
   the catalogue of another language, a .mo file as GNU gettext's msgfmt makes it: TR_("...") where
   a text is used, TR_N("...") around one in a table, which is looked up by tr_translated where it
   is shown. Only what people read is translated: codes, keys, files and JSON stay as they are, and
   numbers keep their decimal point.

   The catalogues are read here and not by the C library: its gettext translates nothing where no
   locale was generated, and would translate strerror along with it, which goes into results. How a
   catalogue is made anew, and what is missing in one, tells tools/languages.

   The language is, in this order, that of the environment's TRAMMEL_LANGUAGE, that which was
   preferred (tr_language_prefer), that of LANGUAGE, LC_ALL, LC_MESSAGES or LANG as far as there is
   a catalogue; else English. Modules, each of which has its own copy of this, share it through the
   environment. */
#ifndef TR_BASE_LANGUAGE_H
#define TR_BASE_LANGUAGE_H

#include "base/error.h"

/* The text in the language of the process; the text itself where the catalogue has none. Borrowed,
   for good. */
const char *tr_translated(const char *english) __attribute__((format_arg(1)));

#define TR_(english) tr_translated(english)
#define TR_N(english) english

/* A text that was made in English from one of the catalogue's formats: found by its shape, and its
   values put into the translation ("is 3; give a list" by "is %s; give a list"). A value that is
   such a text itself is translated, too. Cut to size; the text as it is where no format fits. */
void tr_message_translated(const char *english, char *out, size_t size);

/* Which language texts are in: "en", "de". Borrowed until it is set anew. */
const char *tr_language(void);
/* From now on, whatever the environment says. False: there is no such language. */
TR_MUST_USE bool tr_language_set(const char *name, tr_error *err);
/* A setting's: it holds where TRAMMEL_LANGUAGE says nothing. False: there is no such language. */
TR_MUST_USE bool tr_language_prefer(const char *name, tr_error *err);
/* False: TRAMMEL_LANGUAGE names a language that is not there. */
TR_MUST_USE bool tr_language_check(tr_error *err);

/* Texts are English in this thread until tr_english_end: for JSON, which is for programs. May be
   nested. */
void tr_english_begin(void);
void tr_english_end(void);

#endif
