/* The sentences of findings (base/finding.h): one message a finding, with placeholders for its
   arguments, so that a translator has whole sentences. The messages are English; another language
   (base/language.h) has its own with the same placeholders, in any order.

       {name}            text, an integer, or a list: "a", "a and b", "a, b and c"
       {name:.1f}        a number, as printf shows it
       {|name|:.1f}      its magnitude
       {name:.2s}        a number above 0 with two digits, without an exponent
       {name:8}          a list that names at most 8; else at most 4. Where it is longer: "a, b, c
                         and 7 more"
       {name:or}         a list joined by "or"
       {name}            a part: the finding that it is, in words
       {~name}           a text or a list of words of the program's own, such as "front-left"; they
                         are translated
       {{                a brace
       {name?one|other}  one of two wordings: the first of an integer that is 1, a number above 0,
                         a list of one item */
#ifndef TR_PRESENT_CATALOGUE_H
#define TR_PRESENT_CATALOGUE_H

#include <stddef.h>

#include "base/finding.h"
#include "photos/quality.h"

/* What a sentence takes at most; a longer one is cut. */
enum { TR_FINDING_TEXT_SIZE = 1024 };

/* The finding in words, in one printable line. */
void tr_finding_text(const tr_finding *finding, char out[TR_FINDING_TEXT_SIZE]);

/* A reason in words, as a part of a sentence; "" of none, NULL. */
void tr_reason_text(const tr_finding *reason, char out[TR_FINDING_TEXT_SIZE]);

/* What is weak in a photo and what to do, in a few words of the user's language; "" of none. */
const char *tr_photo_flaw_text(tr_photo_flaw flaw);
/* Whose English words these are; TR_FLAW_NONE: no flaw's. */
tr_photo_flaw tr_photo_flaw_of(const char *text);

/* The English message of a kind of finding. */
const char *tr_finding_message(tr_finding_kind kind);

/* Fills in a message for the arguments of a finding. False, and out is without use, where it has a
   placeholder that is none of these. */
TR_MUST_USE bool tr_finding_fill_in(const char *message, const tr_finding *finding,
                                    char out[TR_FINDING_TEXT_SIZE]);

#endif
