/* What this program does not say: the text that stands under every result and in the help, in
   the user's language. */
#ifndef TR_PRESENT_CAUTIONS_H
#define TR_PRESENT_CAUTIONS_H

/* The whole text, one paragraph without newlines. */
const char *tr_cautions(void);
/* One sentence or two of it, for the foot of a terminal's text. */
const char *tr_cautions_short(void);

#endif
