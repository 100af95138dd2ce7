// Package reading decides what a message from the shop floor means, from what
// is being asked: a number with its unit, sign and plausible range, or a word.
//
// It is pure: no state, no clock, no input or output. Lengths are millimetres
// and angles radians; the person's unit exists only in the text that Parse
// takes and Format gives.
//
// # What is taken
//
// A message has meanings: what its words say, what speech software makes of
// thousandths ("3000 inch"), thousandths said as a bare number where inches are
// asked ("3"). A meaning is plausible when it lies in the range of the question,
// is not finer than the tool reads, and is near where the reading is expected.
// Exactly one plausible meaning is Taken. Several are an AskBack. None is a
// Doubt, which names the likely slips: the unit, the sign, the point, another
// point of the round. What is no reading at all is Refused with a Reason. Every
// word must have a part in the meaning: a word that the tables do not know, a
// unit left over, a negation or a second number is never skipped. A question
// without a known range takes what the words say.
//
// A later kind of meaning never beats a plausible earlier one, with one
// exception: what may be a misheard thousandth is asked back beside a plausible
// literal meaning. A reading that mirrors what is expected, beyond chance, is
// doubted although it is in range.
//
// # Grammar
//
// Words in capitals are classes of the language tables (lang/*.json), which
// hold their phrases; the longest phrase wins. The names of points (label) and
// the question's own words for a sign come before the tables; a number names a point
// before a colon or IS ("1 is +2"). FILLER, full
// stops, quotes and friendly emoji may stand between any two parts and mean
// nothing; DIMENSION (wide) does behind a number. Case and accents do not matter; ä is also ae.
// YES is FILLER, but behind a leaf it GOES ("5 yes 6 no"); TRIED is FILLER where it
// is said whether something goes.
//
// Slips of the finger are mended before the words are looked at together: the letter o
// in a number with a point is a nought, a space may follow its point, a slash with
// spaces around it is a comma, and a word that is not known but one slip from a unit is
// that unit. A word that is one slip from a number or a sign is asked back, and so are
// numbers in quotation marks, a yes for GOES, and "hi" and "lo", which are signs only
// right after a number.
//
//	message   = [ value | points ] [ "?" ] .
//	points    = label value { [ "," | AND ] label value }
//	          | value label { [ "," | AND ] value label } [ SIGN ] .
//	value     = { SIGN | GAP | TOUCHING | BY } quantity { SIGN | GAP | TOUCHING }
//	          | value ZERO SIGN              (* of a gap: and none at the bottom *)
//	          | SIGN scale | scale SIGN      (* thou low: asked back *)
//	          | ZERO [ quantity ]            (* flush; dead on 45 *)
//	          | TOUCHING [ SIGN SIGN ]       (* of a gap: none *)
//	          | ( NOT | NO ) GAP             (* no daylight *)
//	          | quantity same-quantity       (* 3 thou, 0.003 *)
//	          | interval | leaves
//	          | quantity ( OR | CORRECTION | NO ) quantity .   (* asked back *)
//	interval  = BETWEEN quantity AND quantity | quantity ( TO | dash ) quantity .
//	leaves    = clause { [ "," | AND ] clause } | quantity { ( AND | "+" ) quantity } .
//	clause    = [ quantity | NEXT | SMALLEST ] ( GOES | NOT-GO | NOT | LOOSE | SNUG | TIGHT | LARGEST )
//	          | ( GOES | NOT-GO | NOT ) [ quantity | NEXT | SMALLEST ] | NONE-GOES .
//
//	quantity  = [ sign ] magnitude .
//	sign      = "+" | dash | "±" | PLUS | MINUS | PLUS-OR-MINUS .
//	magnitude = number [ scale [ AND part ] ]     (* 3 thou; 1 thou and a half *)
//	          | [ ARTICLE ] scale [ AND part ]    (* a thou and a half *)
//	          | [ ARTICLE ] BINARY [ OF ] [ ARTICLE ] scale       (* half a thou *)
//	          | number degree number [ minute [ number second ] ] (* 45°3' *)
//	          | number foot number inch | number metre number [ centimetre | millimetre ] .
//	scale     = [ OF ] [ ARTICLE ] ( DECIMAL [ OF ] [ ARTICLE ] [ UNIT ] | UNIT | "'" | '"' ) .
//
//	number    = digits [ MULTIPLIER ] | digits ORDINAL | digits POINT fraction
//	          | digits ( "/" digits | digits ORDINAL )            (* 3/64, 3 64ths *)
//	          | whole [ AND | "-" ] part                          (* 49-1/4 *)
//	          | cardinal [ POINT fraction ] | POINT fraction
//	          | cardinal BINARY | cardinal HALF-WORD              (* zweieinhalb *)
//	          | cardinal cardinal | CARD CARD { CARD } .          (* pairs, digit by digit *)
//	part      = digits "/" digits | vulgar | [ ARTICLE | CARD ] BINARY .
//	cardinal  = { CARD | ARTICLE | AND } .        (* in the order of the language *)
//	fraction  = { digits | cardinal | DOUBLE CARD } .
//	digits    = digit { digit | group-or-point digit } .
//	dash      = "-" | "−" | "–" | "—" .
//
// A dash is a minus when it touches what follows and not what precedes, or
// starts the value; it makes a range between two numbers; elsewhere it may be
// either, and is asked back where a sign means something. "To", "for", "won" and
// their like are the numbers that they sound like only after a sign, a point or
// at the start, and before a unit. A comma or point before three digits may
// group them, and then both readings are weighed.
//
// "Over 3" and "under 3" may mean a sign or a comparison and are asked back; "3
// over" is a sign. "Touching at the top" puts the gap at the bottom.
//
// # Numbers that depend on who speaks
//
//	                 person of inches          person of millimetres
//	tenths           of a thou, or 0.1 in      0.1 mm
//	hundredths       0.01 in                   0.01 mm
//	thousandths      0.001 in                  0.001 mm, or 0.001 in (not in German)
//	mil              a thou, or 1 mm           1 mm
//	1/2, 1/64        in                        mm, or in
//	3000, 3 thousand 3 thou if misheard        as it stands
//	8 hundred        as it stands              0.08 mm if misheard
//	one twenty       1.20 or 120 in            1.20 mm, 120 mm or 1.20 m
//	3                3 thou where 3 in cannot be, in a question about less than an inch
//
// # Words
//
// Command finds commands with their synonyms and forgives one slip of the
// finger; Exact, for safety acknowledgements, forgives nothing.
//
// # Languages
//
// A language is one file in lang: number words, units, the classes above and
// the words for commands. A file that gives a word two meanings, or leaves a
// class out, stops the program at its start with every contradiction named.
package reading
