/* Standard input for the screen: kept as a file in the state folder, so that the keyboard can be
 * read from the terminal and a lost session can open it again. */
#ifndef FETTLE_TUI_INTAKE_H
#define FETTLE_TUI_INTAKE_H

/* Where "-" is among the words, copies standard input into a file that takes its place (the word
 * then lives as long as the program), and puts the terminal in the place of standard input. The
 * file goes when no session needs it any more (journal_close). Returns an exit status, 0 when
 * all is well; what went wrong has then been said. */
int intake(int count, char **word);

/* Lets go of the file, so that the end of the session can take it away. */
void intake_end(void);

#endif
