// The kit's own page, opened from its folder: plays and shows holds; nothing is sent.

import { startClips } from "./list.js";

startClips(() => {});
