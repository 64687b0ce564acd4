use steadydraw::*;
use std::collections::BTreeMap;
fn main(){
  let dir=std::env::args().nth(1).unwrap_or("../shared/practice/points".into());
  let mut names: Vec<_>=std::fs::read_dir(&dir).unwrap().map(|e|e.unwrap().path()).collect(); names.sort();
  let mut tot: BTreeMap<(String,String),[f64;8]>=BTreeMap::new();
  let show=std::env::args().nth(2);
  for p in names { let b=bench::Bench::open(&p).unwrap();
   let truth: serde_json::Value=serde_json::from_str(&std::fs::read_to_string(p.join("truth.json")).unwrap()).unwrap();
   let kind=truth["kind"].as_str().unwrap().to_string();
   let data=fit::forms::DrawData::from_bench(&b);
   let t0=std::time::Instant::now();
   let f=fit::candidates::fit_draw(data).unwrap();
   let el=t0.elapsed().as_secs_f64();
   let name=p.file_name().unwrap().to_string_lossy().to_string();
   let mut own=[[0.0f64;4];2];
   for t in truth["targets"].as_array().unwrap(){
     let mode=f.data.modes.iter().position(|m| m==t["mode"].as_str().unwrap()).unwrap();
     let fan=t["fan"].to_string(); let level=f.data.levels.iter().position(|l| l.label==fan).unwrap();
     let at=fit::forms::At{mode,level,intake:t["intake_c"].as_f64().unwrap(),ambient:t["ambient_c"].as_f64().unwrap()};
     let mean=t["mean_w"].as_f64().unwrap(); let new=t["new_run_w"].as_f64().unwrap();
     let wh=t["where"].as_str().unwrap().to_string();
     let pr=predict::predict(&b,&f,at,0.95).unwrap(); let p8=predict::predict(&b,&f,at,0.80).unwrap();
     let is=|(l,h):(f64,f64),y:f64,a:f64| ((h-l)+2.0/a*((l-y).max(0.0)+(y-h).max(0.0)))/mean;
     let cov=|(l,h):(f64,f64),y:f64| if y>=l&&y<=h {1.0}else{0.0};
     let i=if wh=="inside"{0}else{1};
     own[i][0]+=1.0; own[i][1]+=cov(pr.run_w,new); own[i][2]+=is(pr.run_w,new,0.05); own[i][3]+=((pr.draw_w/mean)-1.0).powi(2);
     for k in [kind.clone(),"ALL".to_string()] { let e=tot.entry((k,wh.clone())).or_default();
      e[0]+=1.0; e[1]+=cov(pr.run_w,new); e[2]+=is(pr.run_w,new,0.05); e[3]+=cov(p8.run_w,new); e[4]+=is(p8.run_w,new,0.2); e[5]+=cov(pr.mean_w,mean); e[6]+=is(pr.mean_w,mean,0.05); e[7]+=((pr.draw_w/mean)-1.0).powi(2);}
   }
   if show.is_some(){ println!("{name:26} n={} tried {} kept {} {:.0} ms sd {:.4} true {:.4} | in cov {:.2} IS {:.4} rms {:.4} | out cov {:.2} IS {:.4} rms {:.4}", f.data.rows.len(), f.tried,f.candidates.len(),el*1e3,f.best().relative_sd,truth["run_sd"].as_f64().unwrap(), own[0][1]/own[0][0],own[0][2]/own[0][0],(own[0][3]/own[0][0]).sqrt(),own[1][1]/own[1][0],own[1][2]/own[1][0],(own[1][3]/own[1][0]).sqrt());
    for c in f.candidates.iter().take(3){ println!("      {:.2} loo {:.2} {}",c.weight,c.loo_rmse_w,c.form.words(&f.data)); } }
  }
  for ((k,w),e) in tot { println!("{k:24}{w:8} n{:4} cov95 {:.3} IS95 {:.4} cov80 {:.3} IS80 {:.4} | mean cov {:.3} IS {:.4} rms {:.4}",e[0],e[1]/e[0],e[2]/e[0],e[3]/e[0],e[4]/e[0],e[5]/e[0],e[6]/e[0],(e[7]/e[0]).sqrt()); }
}
