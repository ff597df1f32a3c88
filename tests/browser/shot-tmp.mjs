import { chromium } from "playwright-core";
const b = await chromium.launch({executablePath:"/usr/bin/chromium",chromiumSandbox:false,args:["--disable-gpu"]});
for (const job of process.argv.slice(2)) {
  const [file,scheme,w,y,h,out]=job.split(",");
  const p=await b.newPage({viewport:{width:+w,height:+h},colorScheme:scheme});
  await p.goto("file://"+file);
  await p.screenshot({path:out,fullPage:true,clip:{x:0,y:+y,width:+w,height:+h}});
  await p.close();
}
await b.close();
