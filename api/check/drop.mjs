// The page where a proof file is dropped: `<script type="module" src="/check/drop.mjs"></script>` runs it in every element with
// `data-drop`, which may hold a heading and words. Once the page is loaded it works with the network off: no file leaves the
// browser, and nothing is asked of a server.
//
// What is put there: div.check-drop[data-over] > label + input[type=file]; form.check-root as in `panel.mjs`; then p.check-word,
// ol.check-steps, p.check-last and p.check-limit as there. The thumbprint is that of the fragment `#k=…`, or typed; it is never
// taken from the file or from the server. A `checked` event with the report in `detail` is dispatched on the element.

import { isThumbprint } from './bytes.mjs';
import { CannotCheck, FILE_BYTES_MAX, LIMIT, checkPiece, sayLast } from './check.mjs';
import { Shown, fromFragment, make, thumbprintForm } from './shown.mjs';

class Drop {
  #file = null;
  #root = fromFragment(isThumbprint).root;
  #run = 0;

  constructor(element) {
    this.element = element;
    this.shown = new Shown();
    this.trust = make('p', { class: 'check-trust' });
    const field = make('input', { id: 'check-file', type: 'file', accept: '.json,application/json' });
    field.addEventListener('change', () => this.take(field.files[0]));
    const label = make('label', { for: field.id }, 'Drop a proof file here, or choose one');
    const zone = make('div', { class: 'check-drop' }, label, field);
    this.listen(zone);
    const typed = (root) => {
      this.#root = root;
      this.check();
    };
    for (const fallback of element.querySelectorAll('[data-without-script]')) fallback.remove();
    element.append(zone, this.trust, thumbprintForm(isThumbprint, typed, 'Check against this one'), ...this.shown.parts);
    this.sayTrust();
  }

  listen(zone) {
    zone.addEventListener('dragover', (event) => {
      event.preventDefault();
      zone.dataset.over = '';
    });
    zone.addEventListener('dragleave', () => delete zone.dataset.over);
    zone.addEventListener('drop', (event) => {
      event.preventDefault();
      delete zone.dataset.over;
      this.take(event.dataTransfer.files[0]);
    });
  }

  sayTrust() {
    const known = this.#root !== null;
    this.trust.dataset.trust = known ? 'given' : 'none';
    const asked =
      'Type the thumbprint that is printed on the certificate. It must not come from whoever gave you the file.';
    const compared = '. Compare it with the one printed on the certificate.';
    const words = known ? ['Files are checked against the thumbprint ', make('code', {}, this.#root), compared] : [asked];
    this.trust.replaceChildren(...words);
  }

  take(file) {
    if (file === undefined) return;
    this.#file = file;
    this.check();
  }

  async check() {
    this.sayTrust();
    if (this.#file === null || this.#root === null) {
      this.shown.begin('');
      this.shown.say(this.#file === null ? 'Now choose the proof file.' : 'Now type the thumbprint.', 'busy');
      return;
    }
    const run = (this.#run += 1);
    this.shown.begin(`Checking ${this.#file.name} …`);
    const report = await this.report(this.#file, this.#root, (step) => run === this.#run && this.shown.step(step));
    if (run !== this.#run) return;
    this.shown.end(report, report.facts?.state ? sayLast(report.facts) : '', LIMIT);
    this.element.dispatchEvent(new CustomEvent('checked', { bubbles: true, detail: report }));
  }

  async report(file, root, onStep) {
    if (file.size > FILE_BYTES_MAX) {
      return { conclusion: 'unreadable', why: `it is longer than ${FILE_BYTES_MAX} bytes`, steps: [], facts: null };
    }
    try {
      return await checkPiece(new Uint8Array(await file.arrayBuffer()), { root, onStep });
    } catch (error) {
      const why = error instanceof CannotCheck ? error.message : `the check itself failed: ${error.message}`;
      return { conclusion: 'cannot_check', why, steps: [], facts: null };
    }
  }
}

for (const element of document.querySelectorAll('[data-drop]')) {
  const drop = new Drop(element);
  globalThis.addEventListener('hashchange', () => globalThis.location.reload());
  drop.sayTrust();
}
