// Photographs: the picture that the camera took goes into the queue as it is, and is sent when there is a line.

import { begin, make } from './bench.mjs';
import { refusal } from './words.mjs';

const BYTES_MAX = 20 * 1024 * 1024;
const MEDIA = ['image/jpeg', 'image/png', 'image/webp'];

const element = document.querySelector('[data-picture]');
if (element) {
  const queue = await begin(element);
  const { picture: piece, name, version } = element.dataset;
  const tray = `picture/${piece}`;
  const list = element.querySelector('[data-sent]');
  const say = (text) => list.prepend(make('li', { role: 'alert' }, text));

  const show = async () => {
    const entries = (await queue.entries()).filter((one) => one.tray === tray);
    const words = { waiting: 'not yet in the book', recorded: 'in the book' };
    list.replaceChildren(...entries.reverse().slice(0, 5).map((entry) => {
      const says = entry.state === 'refused' ? refusal(entry) : `${entry.text}: ${words[entry.state]}`;
      return make('li', { 'data-state': entry.state }, says);
    }));
  };

  const take = async (input) => {
    const [file] = input.files;
    input.value = '';
    if (!file) return;
    if (!MEDIA.includes(file.type)) return say(`${file.name} is ${file.type || 'no picture'}: send a JPEG, PNG or WebP.`);
    if (file.size > BYTES_MAX) return say(`${file.name} is larger than 20 MiB: take it at a smaller size.`);
    const entries = (await queue.entries()).filter((one) => one.thing === piece && one.answer?.versions?.[piece]);
    const seen = Math.max(Number(version), ...entries.map((one) => one.answer.versions[piece]));
    const { side } = input.dataset;
    await queue.add({
      path: `/v1/pieces/${piece}/photographs`, query: { stage: element.querySelector('#stage').value, side }, media: file.type,
      body: file, sees: { [piece]: seen }, match: piece, tray, thing: piece, text: `${name}, ${side}`,
    });
  };

  queue.addEventListener('changed', show);
  for (const input of element.querySelectorAll('input[data-side]')) input.addEventListener('change', () => take(input));
  await show();
  element.dataset.ready = 'yes';
}
