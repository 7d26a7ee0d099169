// Charging: what the metal that is chosen comes to, asked of the same calculator that everybody may ask. The book reckons it anew
// when it is charged; here nothing is decided.

import { digits } from './grams.mjs';

const panel = document.querySelector('[data-charge]');
const says = panel?.querySelector('[data-blend]');
const form = document.querySelector('form.entry');
const sources = [...(panel?.querySelectorAll('[data-table]') ?? [])].map((item) => item.dataset);
let asked = 0;

const boxOf = ({ table, id }) => form.querySelector(`input[type=checkbox][name="${table}"][value="${id}"]`);
const massOf = ({ table, id }) => form.querySelector(`input[name="${table}/${id}/mass"]`);

/** Whether it goes in: whole where it is ticked, else what a mass is typed for. */
const isIn = (one) => (one.whole === undefined ? massOf(one)?.value.trim() : boxOf(one)?.checked);

/** What goes in, as the calculator takes it; null while a mass cannot be read. */
function parts() {
  const metal = form.querySelector('[name=metal]')?.value;
  const found = [];
  for (const source of sources.filter(isIn)) {
    const mass = source.whole ?? digits(massOf(source).value).text;
    if (!mass) return null;
    if (source.metal !== metal && source.fineness) return `That mixes ${source.metal} into ${metal}: the book takes one metal and its alloy.`;
    found.push(`${mass}@${source.fineness ?? 'alloy'}`);
  }
  return found;
}

async function predict() {
  const now = parts();
  asked += 1;
  const mine = asked;
  if (typeof now === 'string') return show(now);
  if (now === null) return show('A weight cannot be read: grams, like 210.00.');
  if (now.length === 0) return show('Say how much of each goes in.');
  try {
    const reply = await fetch('/v1/calculations/blend', {
      method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ parts: now }),
    });
    const said = await reply.json();
    if (mine !== asked) return undefined;
    if (!reply.ok) return show(said.detail ?? 'It cannot be reckoned.');
    return show(`${said.mass} g at ${said.fineness} ‰, as declared`);
  } catch {
    return show('There is no line: what it comes to cannot be told now.');
  }
}

const show = (text) => {
  says.textContent = text;
};

if (panel && form) {
  form.addEventListener('input', predict);
  form.addEventListener('change', predict);
  // What was typed before this ran.
  predict();
}
