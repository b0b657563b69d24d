"""Looking back and ahead, out of the journal: days, prints, editions, outlooks, exports, as values, text, drawings."""
