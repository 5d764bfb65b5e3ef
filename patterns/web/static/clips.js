// The served page: as the kit's own, and what was measured is summed up by the server.

import { startClips } from "./list.js";
import { observation, showSummary } from "./summary.js";

startClips((parts) => {
  if (parts) showSummary(() => observation(parts));
});
