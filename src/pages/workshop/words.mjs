// What the bench says of a grade and of a refusal. The words of a grade are those of the page itself (see grades.rs).

export const SIGNS = { accepted: '✓', under: '↓', over: '↑', borderline: '≈', faulty: '✗' };

/** A grade with its reason; `graded` has grade and, where the series has limits, lower, upper and guard. */
export function reason(graded) {
  const { grade, lower, upper, guard } = graded;
  const limits = lower ? (upper ? `${lower} g to ${upper} g` : `at least ${lower} g`) : null;
  if (grade === 'faulty') return 'faulty: unfit by eye, whatever it weighs';
  if (!limits && grade === 'accepted') return 'accepted: this series has no limits';
  if (!guard && grade === 'borderline') return 'borderline: this scale is not verified, so nothing can be claimed from it';
  const words = {
    accepted: `accepted: within ${limits}, clear of them by the guard band of ${guard} g`,
    under: `under: below ${lower} g by the guard band of ${guard} g or more`,
    over: `over: above ${upper} g by the guard band of ${guard} g or more; it may be filed down`,
    borderline: `borderline: nearer than ${guard} g to a limit (${limits}); this scale cannot tell`,
  };
  return words[grade] ?? grade;
}

/** Why an entry was not taken, in the maker's words. */
export function refusal(entry, now) {
  const { status, code, detail } = entry.answer;
  if (status === 412) {
    const has = now?.mass ? `The book has ${now.mass} g for it` : 'The book has something newer of it';
    return `Somebody else was at it meanwhile. ${has}. What you typed, ${entry.text}, was not taken.`;
  }
  const words = {
    'session-closed': 'The scale’s session has ended. Open a session, then weigh it again.',
    'too-fine-for-scale': 'That is finer than this scale reads: look at the display again.',
    'above-scale': 'That is more than this scale can weigh.',
    'idempotency-key-reused': 'It was sent before by somebody else or with another content. Look at the piece before you weigh it again.',
  };
  return `${words[code] ?? `Not taken: ${detail}.`} (${entry.text})`;
}

/** What is said of something that the device had no room for. */
export const unkept = (what, error) => `This device could not keep ${what} (${error.name}): write it down, and make room on the device.`;
