// The check as a part of a piece's page: `<script type="module" src="/check/panel.mjs"></script>` runs it in every element with
// `data-check`, and needs nothing else.
//
// What the page gives:
//   <section data-check data-serial="DW-0001-21" data-root="<thumbprint>" aria-labelledby="…"> …heading, words… </section>
//   data-serial  the serial, check digits and hyphens included (required)
//   data-root    the root thumbprint that this server states (required; it is trusted only where nobody brings a better one)
//   data-proof   path of the proof file; /v1/serials/{serial}/proof if it is absent
//   data-log     path of the log; /log/ if it is absent
// Children with the attribute `data-without-script` are removed; everything else stays, and the check is put behind it.
//
// Figures of the page that stand in the record are marked, `data-stated="weight_grams"` (see stated.mjs); the check compares them.
//
// What is put there, in this order, for a style sheet (classes) and for tests (data attributes):
//   p.check-trust[data-trust=link|typed|server|slip]  whose thumbprint is trusted and what that is worth
//   form.check-root > label, input, button, span.check-error[role=alert]  the thumbprint on the certificate can be typed
//   p.check-word[role=status][data-outcome=busy|holds|does_not_hold|unreadable|not_understood|not_fetched|cannot_check]
//   ol.check-steps[aria-busy] > li.check-step[data-step][data-holds=true|false|null] > span.check-mark, span.check-asked,
//      span.check-found, and where two histories were seen details.check-evidence > summary, pre
//   p.check-last    what the record last says of the piece (only where it holds), dl.check-facts its figures
//   p.check-limit   what no check can tell
//   p.check-file > a[download]  the proof file, to check it elsewhere; button.check-again
// While the element has the attribute `data-checking` a check is under way; a `checked` event with the report in `detail` is
// dispatched on it when one is done, and bubbles.
//
// The modules import each other by relative paths, some eight deep: a page that names them all in `<link rel="modulepreload">` has
// them after one round trip.
//
// The thumbprint of the fragment, `#k=…`, goes before the typed one, and that before the server's. Nothing is sent but requests
// for the proof, the checkpoint, tiles and photographs. localStorage remembers the newest checkpoint that was seen under a root.

import { isThumbprint } from './bytes.mjs';
import { CannotCheck, LIMIT, sayLast } from './check.mjs';
import { checkOnline } from './online.mjs';
import { Shown, fromFragment, make, thumbprintForm } from './shown.mjs';
import { comparePage, factList } from './stated.mjs';

const WORTH = {
  link: 'Checked against the thumbprint in the link that you followed. Compare it with the one printed on the certificate: ',
  typed: 'Checked against the thumbprint that you typed: ',
  server:
    'Checked against the thumbprint that this same server states. A server that lies about the record could state a false ' +
    'one too: compare it with the one printed on the certificate, or type that one below. ',
  slip:
    'The link that you followed has a thumbprint that is none, so it was not used. Type the one printed on the certificate. ' +
    'Until then the server is believed: ',
};
const DIFFERS =
  ' This server states another one: do not trust this page before you have asked the workshop by a way that you know.';

/** What keeps things for this page, or null where the browser lends nothing. */
function storage() {
  try {
    return globalThis.localStorage;
  } catch {
    return null;
  }
}

class Panel {
  #typed = null;
  #run = 0;

  constructor(element) {
    this.element = element;
    this.serial = element.dataset.serial;
    this.proof = element.dataset.proof ?? `/v1/serials/${encodeURIComponent(this.serial)}/proof`;
    this.trust = make('p', { class: 'check-trust' });
    this.shown = new Shown();
    const again = make('button', { class: 'check-again', type: 'button' }, 'Check again');
    again.addEventListener('click', () => this.check());
    const typed = (root) => {
      this.#typed = root;
      this.check();
    };
    const file = make('a', { href: this.proof, download: `${this.serial}.proof.json` }, 'Save the proof file');
    const offer = make('p', { class: 'check-file' }, file, ' to check it elsewhere, without this server. ', again);
    for (const fallback of element.querySelectorAll('[data-without-script]')) fallback.remove();
    element.append(this.trust, thumbprintForm(isThumbprint, typed, 'Check against this one'), ...this.shown.parts, offer);
  }

  /** Whose thumbprint is trusted. */
  root() {
    const stated = this.element.dataset.root;
    const { given, root } = fromFragment(isThumbprint);
    if (root !== null) return { from: 'link', root, stated };
    if (this.#typed !== null) return { from: 'typed', root: this.#typed, stated };
    return { from: given ? 'slip' : 'server', root: stated, stated };
  }

  async check() {
    const run = (this.#run += 1);
    const isNewest = () => run === this.#run;
    const { from, root, stated } = this.root();
    this.trust.dataset.trust = from;
    this.trust.replaceChildren(WORTH[from], make('code', {}, root), '.', root === stated ? '' : make('strong', {}, DIFFERS));
    this.shown.begin('Checking the record here in your browser …');
    this.element.setAttribute('data-checking', '');
    const report = this.beside(await this.report(root, isNewest), isNewest);
    if (!isNewest()) return;
    this.shown.end(report, report.facts?.state ? sayLast(report.facts) : '', LIMIT);
    if (report.conclusion === 'holds' || report.step === 'page') this.shown.tell(factList(report.facts));
    this.element.removeAttribute('data-checking');
    this.element.dispatchEvent(new CustomEvent('checked', { bubbles: true, detail: report }));
  }

  /** A record that holds is held against what the page around it says. */
  beside(report, isNewest) {
    if (report.conclusion !== 'holds') return report;
    const step = comparePage(report.facts, document);
    if (isNewest()) this.shown.step(step);
    const steps = [...report.steps, step];
    return step.holds === false ? { ...report, steps, conclusion: 'does_not_hold', step: 'page', why: step.found } : { ...report, steps };
  }

  async report(root, isNewest) {
    try {
      return await checkOnline({
        serial: this.serial,
        root,
        proof: this.proof,
        log: this.element.dataset.log ?? '/log/',
        base: globalThis.location.href,
        storage: storage(),
        onStep: (step) => isNewest() && this.shown.step(step),
        onFresh: () => isNewest() && this.shown.fresh(),
      });
    } catch (error) {
      const why = error instanceof CannotCheck ? error.message : `the check itself failed: ${error.message}`;
      return { conclusion: 'cannot_check', why, steps: [], facts: null };
    }
  }
}

for (const element of document.querySelectorAll('[data-check]')) {
  const panel = new Panel(element);
  globalThis.addEventListener('hashchange', () => panel.check());
  panel.check();
}
