// That a step does not hold, and why.

export class Fails extends Error {}

export function fail(why) {
  throw new Fails(why);
}

/** That a fact holds, or why the step does not. */
export function must(holds, why) {
  if (!holds) fail(why);
}

/** Runs a part of a step; if it does not hold, says first where. */
export function within(where, run) {
  try {
    return run();
  } catch (error) {
    if (error instanceof Fails) error.message = `${where}: ${error.message}`;
    throw error;
  }
}
