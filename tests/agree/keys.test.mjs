// Which log keys may sign a checkpoint of a size: from the entry that added them to the one that revokes them.

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Keys } from '../../api/check/keys.mjs';

test('a checkpoint that ends just before the entry that revoked its key still holds', () => {
  const keys = new Keys();
  const key = new Uint8Array(32).fill(7);
  keys.rows.push({ kid: 'one', role: 'log', key, added: 2n, revoked: 5n, suspectFrom: undefined });
  const held = (size) => keys.logVerifiers('brackenfold.example/log', size).length;
  assert.deepEqual([2n, 3n, 4n, 5n, 6n].map(held), [0, 1, 1, 1, 0]);
});
