// The far view: regions and the watch over their age, nothing else.

import { body, follow } from "./feed.js";

follow(`/bay/${body.dataset.bay}/live?view=far`, () => {});
